"""Signal, black level, fall-off, noise and sharpness of a capture, against the prediction."""

from dataclasses import dataclass

import numpy as np

from linesim.figures.resolution import mtf_across, mtf_along
from linesim.forward.profile import column_profile
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import Station, station
from linesim.forward.transport import LineTable, line_table
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.compared import Transfer
from linesim.metrics.scene.levels import Levels, split_noise
from linesim.metrics.scene.strays import Series
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.measure.against.agreement import Difference
from linesim.studies.measure.against.placed import Placed
from linesim.studies.measure.against.predicted import Prediction

_BLACK_SHARE = 0.002
_BLACK_DN = 0.5
"""Least difference of black that counts, in parts of white and in numbers; our choice."""
_FARTHEST_CYC_PX = 1.0
_GRID = 2001
_PATTERN = 0.001
_LINE_LIGHT = 0.002
_STRAY_PX = 0.05
"""Least differences that count: of the columns' and the lines' light, in parts; of the lines'
places, in samples. Our choice."""
_ROUNDING = 1e-9


def signal(numbers: Station, level: Levels, noise: Estimate) -> tuple[Difference, ...]:
    """Give signal, noise and their ratio on white, as the capture's level and noise have them."""
    white_e = float(numbers.electrons_white)
    noise_e = float(numbers.noise_e(white_e))
    seen = Estimate(value=white_e * level.gain.value, sd=white_e * level.gain.sd)
    loud = float(np.sqrt(max(noise.value, 1e-12)))
    louder = noise.sd / (2 * loud**2)
    snr = seen.value / (loud * float(numbers.noise_e(max(seen.value, 0.0))))
    # noise grows as the root of the signal, at most
    snr_sd = abs(snr) * np.hypot(louder, level.gain.sd / max(abs(level.gain.value), 1e-12))
    measured = {
        "electrons_white": (white_e, seen),
        "noise_white_e": (noise_e, Estimate(value=loud * noise_e, sd=loud * louder * noise_e)),
        "snr_white": (white_e / noise_e, Estimate(value=float(snr), sd=float(snr_sd))),
    }
    return tuple(
        Difference(name=name, predicted=predicted, measured=found)
        for name, (predicted, found) in measured.items()
    )


def black(numbers: Station, level: Levels) -> tuple[Difference, ...]:
    """Give the black level, where detail tells it from the light."""
    if level.black is None:
        return ()
    base_dn = float(numbers.delivered.number_dn(float(numbers.delivered_dark_e)))
    white_dn = float(numbers.delivered.gain_dn_e * numbers.electrons_white)
    seen = Estimate(value=base_dn + level.black.value, sd=level.black.sd)
    least = max(_BLACK_DN, _BLACK_SHARE * white_dn)
    return (Difference(name="black_dn", predicted=base_dn, measured=seen, least=least),)


def along_line(setup: Setup, numbers: Station, level: Levels) -> tuple[Difference, ...]:
    """Give the light at the ends of the line and at its two sides, where they can be told."""
    columns_px = int(numbers.geometry.image_width_px)
    middle, last = (
        (1.0, 1.0)
        if setup.acquisition.flat_field
        else column_profile(setup, columns_px)[[columns_px // 2, -1]].tolist()
    )
    found = []
    if level.ends is not None:
        own = last / middle
        seen = Estimate(value=own * (1 + level.ends.value), sd=own * level.ends.sd)
        found.append(Difference(name="light_ends", predicted=own, measured=seen))
    if level.side is not None:
        seen = Estimate(value=1 + 2 * level.side.value, sd=2 * level.side.sd)
        found.append(Difference(name="light_right_left", predicted=1.0, measured=seen))
    return tuple(found)


def noise_parts(
    numbers: Station, left_dn: FloatArray, model_dn: FloatArray
) -> tuple[Difference, ...]:
    """Give noise in the dark, and the gain by shot noise, of what is left of a signal. [DN]."""
    gain = float(numbers.delivered.gain_dn_e)
    dark_e2 = float(numbers.dark_noise_e**2 - numbers.line_noise_e**2)
    whole_e2 = dark_e2 + float(numbers.rounding_e2)
    dark_dn2 = np.full_like(model_dn, gain**2 * whole_e2)
    parts = split_noise(left_dn, dark_dn2, gain * np.maximum(model_dn, 0))
    found = []
    if parts.dark is not None and dark_e2 > 0:
        dark_e = float(np.sqrt(dark_e2))
        seen_e = float(np.sqrt(max((parts.dark.value - 1) * whole_e2 + dark_e2, 0.0)))
        sd_e = parts.dark.sd * whole_e2 / (2 * max(seen_e, dark_e))
        seen = Estimate(value=seen_e, sd=sd_e)
        found.append(Difference(name="dark_noise_e", predicted=dark_e, measured=seen))
    if parts.shot is not None:
        seen = Estimate(value=gain * parts.shot.value, sd=gain * parts.shot.sd)
        found.append(Difference(name="gain_dn_e", predicted=gain, measured=seen))
    return tuple(found)


def sharpness(numbers: Station, found: Transfer, reference_um: float) -> tuple[Difference, ...]:
    """
    Give MTF50 of the prediction, and of the prediction times the blur that was found.

    A reference is a mean over each pixel, drawn as a square: of its detail the prediction holds
    sinc² of the pixel's side, where the target itself may hold all; and its lens is good to
    `OFF_AXIS_ERROR`. So much is no difference.
    """
    sides_um = (float(numbers.geometry.object_pixel_x_um), float(numbers.timing.line_advance_um))
    each = zip(
        ("x", "y"), sides_um, (mtf_across, mtf_along), (found.blur_x, found.blur_y), strict=True
    )
    differences = []
    cycles = np.linspace(0, _FARTHEST_CYC_PX, _GRID)
    for axis, side_um, mtf, blur in each:
        own = mtf(numbers, 1000 * cycles / side_um)
        predicted, measured, low, high = (
            _half(cycles, own * np.exp(-exponent * cycles**2)) * 1000 / side_um
            for exponent in (0.0, blur.value, blur.value - blur.sd, blur.value + blur.sd)
        )
        drawn = own * np.sinc(cycles * reference_um / side_um) ** 2
        differences.append(
            Difference(
                name=f"mtf50_{axis}_lp_mm",
                predicted=predicted,
                measured=Estimate(value=measured, sd=abs(high - low) / 2),
                least=predicted - _half(cycles, drawn - OFF_AXIS_ERROR) * 1000 / side_um,
            )
        )
    return tuple(differences)


def _half(cycles: FloatArray, mtf: FloatArray) -> float:
    """First frequency at which a curve falls to one half. [cycles/px]."""
    below = int(np.argmax(mtf < 0.5)) or len(mtf) - 1  # noqa: PLR2004 -- MTF50
    return float(np.interp(-0.5, -mtf[below - 1 : below + 1], cycles[below - 1 : below + 1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Evenness:
    """How even a capture is."""

    columns: Estimate  # spread of the columns' light, in parts
    lines: Series  # of the lines' light, in parts
    signal_dn: FloatArray  # shape (columns,); mean signal of each column that tells its gain [DN]


def regularity(
    setup: Setup, own: Prediction, one: Placed, channel: int, seen: Evenness
) -> tuple[Difference, ...]:
    """Hold columns and lines of a channel against what the setup, as it is, makes of them."""
    numbers = station(setup).by_colour[channel]
    lines = np.arange(one.lines.start, one.lines.stop, dtype=np.float64)
    table = line_table(setup, numbers, 0, lines * float(numbers.timing.lines_joined))
    pattern, light = _predicted(numbers, table, seen.signal_dn)
    even = (
        Difference(name="column_pattern", predicted=pattern, measured=seen.columns, least=_PATTERN),
        Difference(
            name="line_light",
            predicted=light,
            measured=Estimate(value=seen.lines.rms, sd=seen.lines.sd),
            least=_LINE_LIGHT,
        ),
    )
    places = (
        ("line_places_px", one.along, table.start_um, own.sides_um[0]),
        ("line_sideways_px", one.across, table.sideways_um, own.sides_um[1]),
    )
    straying = []
    for name, series, place_um, side_um in places:
        wanted = _straying(lines, place_um) / side_um
        if series is None and wanted == 0:
            continue
        # what is too little to be told is less than half of what counts
        none = Estimate(value=0.0, sd=_STRAY_PX / 8)
        found = none if series is None else Estimate(value=series.rms, sd=series.sd)
        straying.append(Difference(name=name, predicted=wanted, measured=found, least=_STRAY_PX))
    return (*even, *straying)


def _predicted(numbers: Station, table: LineTable, signal_dn: FloatArray) -> tuple[float, float]:
    """Give the spread of the columns' and of the lines' light, in parts."""
    signal_e = signal_dn / float(numbers.delivered.gain_dn_e)
    mean_e = float(signal_e.mean())
    pattern = float(np.sqrt(np.mean(np.square(numbers.pattern_e(signal_e) / signal_e))))
    flicker, shared = float(np.std(table.light)), float(numbers.line_noise_e) / mean_e
    return pattern, float(np.hypot(flicker, shared))


def _straying(lines: FloatArray, place_um: FloatArray) -> float:
    """Give the spread of places about their straight line. [µm]."""
    spread = float(np.std(place_um - np.polyval(np.polyfit(lines, place_um, 1), lines)))
    return spread if spread > _ROUNDING * float(np.ptp(place_um)) else 0.0
