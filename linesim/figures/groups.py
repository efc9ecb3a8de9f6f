"""
The closed-form figures by group. Every function takes a station of numbers or of arrays.

References
----------
Signal, noise, threshold, saturation and dynamic range: EMVA 1288 R4.0 RC (March 2021), (15), (20),
(27), (28), (55), (69). Depth of field: 2 c N_w/m², first order of the thin-lens relations.
"""

from dataclasses import dataclass

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.kept import kept, limit_share
from linesim.forward.sensor.linearity import shown_e
from linesim.forward.station import Station
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup

Group = dict[str, Figure]
ENDS = "_ends"
"""Behind the name of a figure: at the outermost column, which is the worst lit."""
_BYTE_BITS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What a camera can do and its link carries; numbers or arrays."""

    sample_bits: Figure  # that a sample takes on the link; whole bytes where no pixel format says
    channels: Figure
    # No number where the setup does not say. [Hz], [MB/s], [Hz]
    max_line_rate_hz: Figure
    link_mb_s: Figure
    max_pulse_rate_hz: Figure


def reach(setup: Setup) -> Reach:
    """Take out of a setup what its camera can do."""
    camera = setup.camera
    rate_hz, link_mb_s = camera.max_line_rate_hz, camera.link_mb_s
    pulses_hz = setup.light.max_pulse_rate_hz
    return Reach(
        sample_bits=_sample_bits(setup),
        channels=1 if camera.kind == "mono" else len(COLOURS),
        max_line_rate_hz=np.nan if rate_hz is None else rate_hz,
        link_mb_s=np.nan if link_mb_s is None else link_mb_s,
        max_pulse_rate_hz=np.nan if pulses_hz is None else pulses_hz,
    )


def _sample_bits(setup: Setup) -> Figure:
    form = setup.camera.pixel_format
    if form is not None:
        return form.sample_bits
    return np.where(np.asarray(setup.camera.bit_depth) <= _BYTE_BITS, _BYTE_BITS, 2 * _BYTE_BITS)


def limits_group(numbers: Station, able: Reach, brightest: Figure) -> Group:
    """Give the shares of camera, link, period and wells taken at a ripple's peak; over 1 fails."""
    when = numbers.timing
    data_mb_s = geometry_group(numbers, 1, able)["data_rate_mb_s"]
    longest_us = np.maximum(when.longest_exposure_us, 1e-9)
    return {
        "line_rate_share": when.peak_rate_hz / np.asarray(able.max_line_rate_hz),
        "link_share": data_mb_s * when.peak_rate_hz / when.exposed_rate_hz / able.link_mb_s,
        "pulse_rate_share": when.peak_rate_hz / when.turns / np.asarray(able.max_pulse_rate_hz),
        "exposure_share": when.exposure_us / longest_us,
        "clipping_share": limit_share(numbers, brightest * np.asarray(numbers.electrons_white)),
    }


def decibel(ratio: Figure) -> Figure:
    """Express a ratio of amplitudes in dB: 20 log₁₀, minus infinity for 0."""
    with np.errstate(divide="ignore"):
        return 20 * np.log10(ratio)


def geometry_group(numbers: Station, lines: Figure, reach: Reach) -> Group:
    """Give footprints, rates and sizes."""
    place, when, lens = numbers.geometry, numbers.timing, numbers.optics
    sample_bytes = reach.channels * np.asarray(reach.sample_bits) / _BYTE_BITS
    side_um = np.maximum(place.across * place.pixel_width_um, place.along * place.pixel_height_um)
    return {
        "object_pixel_x_um": place.object_pixel_x_um,
        "object_pixel_y_um": place.object_pixel_y_um,
        "line_advance_um": when.line_advance_um,
        "pixel_aspect": when.line_advance_um / place.object_pixel_x_um,
        "coverage": place.object_pixel_y_um / when.line_advance_um,
        "image_width_px": place.image_width_px,
        "image_lines": lines,
        "field_of_view_mm": place.field_of_view_mm,
        "scan_length_mm": lines * when.line_advance_um / 1000,
        "line_rate_hz": when.line_rate_hz,
        "matched_line_rate_hz": place.matched_line_rate_hz,
        "square_line_rate_hz": place.square_line_rate_hz,
        "data_rate_mb_s": place.image_width_px * when.line_rate_hz * sample_bytes / 1e6,
        "depth_of_field_mm": 2 * side_um / 1000 * lens.working_f_number / lens.magnification**2,
    }


def exposure_group(numbers: Station) -> Group:
    """Give exposure and motion blur."""
    when = numbers.timing
    return {
        "exposure_us": when.exposure_us,
        "line_period_us": when.line_period_us,
        "duty": when.duty,
        "motion_blur_um": numbers.motion_um,
        "motion_blur_px": numbers.motion_um / numbers.geometry.object_pixel_y_um,
    }


def signal_group(numbers: Station) -> Group:
    """Give signal and noise on white, before any clipping but for ``dn_white``."""
    white_e, sensor = numbers.electrons_white, numbers.sensor
    charge_e = white_e + numbers.dark_e
    noise_e = numbers.noise_e(white_e)
    kept_e = np.minimum(charge_e, numbers.saturation_e)
    # a flat field takes the dark level off, which is all there is where the dark fills a well
    output_e = np.maximum(kept_e - (numbers.dark_e - numbers.delivered_dark_e), 0)
    output_e = shown_e(numbers, output_e)
    return {
        "irradiance_target_w_m2": numbers.irradiance_w_m2,
        "irradiance_sensor_w_m2": numbers.irradiance_sensor_w_m2,
        "electrons_white": white_e,
        "dark_e": numbers.dark_e,
        "noise_white_e": noise_e,
        "snr_white": white_e / noise_e,
        "snr_white_db": decibel(white_e / noise_e),
        "snr_total_white": white_e / numbers.total_noise_e(white_e),
        "dn_white": sensor.black_level_dn + numbers.dn_per_e * output_e * numbers.balance,
        "saturation_white": charge_e / numbers.saturation_e,
    }


def product_group(numbers: Station, product: Figure) -> Group:
    """Give signal and noise on good product, as wells and words leave them."""
    level_e = product * np.asarray(numbers.electrons_white)
    left = kept(numbers, level_e)
    taken_off_e = numbers.dark_e - numbers.delivered_dark_e
    return {
        "electrons_product": level_e,
        "snr_product": level_e * left.slope / left.noise_e,
        "dn_product": numbers.delivered.number_dn(shown_e(numbers, left.charge_e - taken_off_e)),
    }


def lit_group(numbers: Station, product: Figure) -> Group:
    """Give signal and noise on white and on good product, whose level is a share of white."""
    return {**signal_group(numbers), **product_group(numbers, product)}


def camera_group(numbers: Station) -> Group:
    """Give the sensor figures of EMVA 1288, for the delivered pixel."""
    dark_e2 = numbers.dark_noise_e**2 + numbers.rounding_e2
    threshold_e = np.sqrt(dark_e2 + 0.25) + 0.5
    saturation_e = numbers.saturation_e
    return {
        "dark_noise_e": numbers.dark_noise_e,
        "threshold_e": threshold_e,
        "saturation_e": saturation_e,
        "snr_max": np.sqrt(saturation_e),
        "snr_max_db": decibel(np.sqrt(saturation_e)),
        "dynamic_range": saturation_e / threshold_e,
        "dynamic_range_db": decibel(saturation_e / threshold_e),
    }
