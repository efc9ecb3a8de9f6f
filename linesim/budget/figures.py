"""
The closed-form figures by group. Every function takes a station of numbers or of arrays.

References
----------
Signal, noise, threshold, saturation and dynamic range: EMVA 1288 Release 4.0 Linear, (15), (20),
(27), (28), (55), (69). Depth of field: 2 c N (1+m)/m², first order of the thin-lens relations.
"""

from collections.abc import Callable

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.lens import box_mtf, comb_mtf
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray

Group = dict[str, Figure]
_BYTE_BITS = 8
_HALVINGS = 60


def decibel(ratio: Figure) -> Figure:
    """
    Express a ratio of amplitudes in dB.

    Parameters
    ----------
    ratio : float or ndarray
        Not negative.

    Returns
    -------
    float or ndarray
        20 log₁₀; minus infinity for 0. [dB]
    """
    with np.errstate(divide="ignore"):
        return 20 * np.log10(ratio)


def geometry_group(numbers: Station, lines: Figure, bit_depth: Figure) -> Group:
    """
    Give footprints, rates and sizes.

    Parameters
    ----------
    numbers : Station
        The station.
    lines : float or ndarray
        Lines of the scan.
    bit_depth : float or ndarray
        Of a sample; up to 8 bits take one byte, more take two.

    Returns
    -------
    dict
        Figures by name, the unit as suffix.
    """
    place, when, lens = numbers.geometry, numbers.timing, numbers.optics
    sample_bytes = np.where(np.asarray(bit_depth) <= _BYTE_BITS, 1, 2)
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
    """
    Give exposure and motion blur.

    Parameters
    ----------
    numbers : Station
        The station.

    Returns
    -------
    dict
        Figures by name, the unit as suffix.
    """
    when = numbers.timing
    return {
        "exposure_us": when.exposure_us,
        "line_period_us": when.line_period_us,
        "duty": when.duty,
        "motion_blur_um": numbers.motion_um,
        "motion_blur_px": numbers.motion_um / numbers.geometry.object_pixel_y_um,
    }


def signal_group(numbers: Station) -> Group:
    """
    Give signal and noise on white, before any clipping but for ``dn_white``.

    Parameters
    ----------
    numbers : Station
        The station.

    Returns
    -------
    dict
        Figures by name, the unit as suffix.
    """
    white_e, sensor = numbers.electrons_white, numbers.sensor
    charge_e = white_e + numbers.dark_e
    noise_e = numbers.noise_e(white_e)
    kept_e = np.minimum(charge_e, numbers.saturation_e)
    return {
        "irradiance_target_w_m2": numbers.irradiance_w_m2,
        "irradiance_sensor_w_m2": numbers.irradiance_sensor_w_m2,
        "electrons_white": white_e,
        "dark_e": numbers.dark_e,
        "noise_white_e": noise_e,
        "snr_white": white_e / noise_e,
        "snr_white_db": decibel(white_e / noise_e),
        "snr_total_white": white_e / numbers.total_noise_e(white_e),
        "dn_white": sensor.black_level_dn + numbers.dn_per_e * kept_e * numbers.balance,
        "saturation_white": charge_e / numbers.saturation_e,
    }


def camera_group(numbers: Station) -> Group:
    """
    Give the sensor figures of EMVA 1288, for the delivered pixel.

    Parameters
    ----------
    numbers : Station
        The station.

    Returns
    -------
    dict
        Figures by name, the unit as suffix.
    """
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


def mtf_across(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """
    MTF across the web: lens and pixel.

    Parameters
    ----------
    numbers : Station
        The station.
    frequency_lp_mm : float or ndarray
        On the target. [lp/mm]

    Returns
    -------
    ndarray
        The product.
    """
    lens = numbers.optics.mtf(frequency_lp_mm / numbers.optics.magnification)
    return lens * box_mtf(frequency_lp_mm * numbers.geometry.object_pixel_x_um / 1000)


def mtf_along(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """
    MTF along travel: lens, pixel, motion, joined lines and stages out of step.

    Parameters
    ----------
    numbers : Station
        The station.
    frequency_lp_mm : float or ndarray
        On the target. [lp/mm]

    Returns
    -------
    ndarray
        The product.
    """
    place, when = numbers.geometry, numbers.timing
    per_um = frequency_lp_mm / 1000
    lens = numbers.optics.mtf(frequency_lp_mm / numbers.optics.magnification)
    rows = box_mtf(per_um * place.row_side_um)
    joined = comb_mtf(place.lines_joined, per_um * when.exposed_advance_um)
    stages = comb_mtf(place.stages, per_um * (when.exposed_advance_um - place.row_side_um))
    return lens * rows * joined * stages * box_mtf(per_um * numbers.motion_um)


def first_crossing(
    mtf: Callable[[Station, Figure], FloatArray], numbers: Station, last_lp_mm: Figure
) -> Figure:
    """
    Find the frequency at which an MTF first falls to one half, by halving.

    Parameters
    ----------
    mtf : callable
        Given station and frequency.
    numbers : Station
        The station.
    last_lp_mm : float or ndarray
        A frequency up to which every factor falls steadily, with an MTF below one half. [lp/mm]

    Returns
    -------
    float or ndarray
        On the target. [lp/mm]
    """
    low, high = 0.0 * np.asarray(last_lp_mm), np.asarray(last_lp_mm)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        above = mtf(numbers, middle) > 0.5  # noqa: PLR2004 -- MTF50
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.asarray((low + high) / 2)


def _longest_side_um(numbers: Station) -> Figure:
    """Side of the widest of the boxes and combs that blur along travel. [µm]."""
    place, advance_um = numbers.geometry, numbers.timing.exposed_advance_um
    joined_um = np.where(np.asarray(place.lines_joined) > 1, place.lines_joined * advance_um, 0)
    smeared_um = place.stages * np.abs(advance_um - place.row_side_um)
    smeared_um = np.where(np.asarray(place.stages) > 1, smeared_um, 0)
    sides_um = np.broadcast_arrays(place.row_side_um, numbers.motion_um, joined_um, smeared_um)
    return np.asarray(np.maximum.reduce(sides_um))


def resolution_group(numbers: Station) -> Group:
    """
    Give Nyquist frequencies and MTF figures, all on the target.

    Parameters
    ----------
    numbers : Station
        The station.

    Returns
    -------
    dict
        Figures by name, the unit as suffix.
    """
    place, lens = numbers.geometry, numbers.optics
    nyquist_x = 500 / place.object_pixel_x_um
    nyquist_y = 500 / numbers.timing.line_advance_um
    # first zeros of pixel, diffraction and defocus: up to the nearest, the product falls steadily
    disc_um = np.maximum(lens.defocus_disc_um, 1e-9)
    lens_zero = np.minimum(lens.cutoff_lp_mm, 1219.67 / disc_um) * lens.magnification
    zero_x = np.minimum(lens_zero, 1000 / place.object_pixel_x_um)
    zero_y = np.minimum(lens_zero, 1000 / _longest_side_um(numbers))
    return {
        "nyquist_x_lp_mm": nyquist_x,
        "nyquist_y_lp_mm": nyquist_y,
        "mtf_nyquist_x": mtf_across(numbers, nyquist_x),
        "mtf_nyquist_y": mtf_along(numbers, nyquist_y),
        "mtf_motion_nyquist_y": box_mtf(nyquist_y * numbers.motion_um / 1000),
        "mtf50_x_lp_mm": first_crossing(mtf_across, numbers, zero_x),
        "mtf50_y_lp_mm": first_crossing(mtf_along, numbers, zero_y),
    }


def detection_group(
    numbers: Station, defect_contrast: Figure, smallest_defect_um: Figure | None
) -> Group:
    """
    Give the size of the smallest defect in pixels, and its contrast to noise.

    Parameters
    ----------
    numbers : Station
        The station.
    defect_contrast : float or ndarray
        As a fraction of white.
    smallest_defect_um : float, ndarray or None
        Its size; ``None`` leaves the sizes in pixels out. [µm]

    Returns
    -------
    dict
        Figures by name.
    """
    white_e = numbers.electrons_white
    group: Group = {"defect_cnr": defect_contrast * white_e / numbers.noise_e(white_e)}
    if smallest_defect_um is None:
        return group
    place = numbers.geometry
    step_um = np.maximum(numbers.timing.line_advance_um, place.object_pixel_y_um)
    return {
        "defect_px_x": smallest_defect_um / place.object_pixel_x_um,
        "defect_px_y": smallest_defect_um / step_um,
        **group,
    }
