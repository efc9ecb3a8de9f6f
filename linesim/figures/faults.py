"""Cautions about faults of transport, light and colour, and about binning of numbers."""

import numpy as np

from linesim.figures.case import Case, Found, values
from linesim.figures.lens_cautions import lens_cautions
from linesim.figures.plain_numbers import digits, percent
from linesim.forward.conversion import ROUNDING_DN
from linesim.forward.lens import comb_mtf
from linesim.forward.profile import column_profile
from linesim.forward.transport import band_share

_SHIFTS = ("misregistration_px", "misregistration_swing_px")
_AMBIENT_SHARE = 0.01
_BANDS_SHARE = 0.01
_BANDS_NOISE = 0.3
"""Rms of bands over noise on white: they add 4.4 % to it."""
_PACES = 33
_FRINGE_PX = 0.25
_SMEAR_PX = 0.5
_SHIFT_PX = 1.0
_STEEP_GAIN = 3.0
_BAND_LOSS = 0.05
_ROOM_MM = 10.0
"""Between a lamp and the web, our choice."""


def _colour(case: Case) -> Found:
    geometry = case.groups["geometry"]
    left = [values(geometry[name]) for name in _SHIFTS if name in geometry]
    worst = sum(max(abs(value) for value in each) for each in left)
    if worst > _FRINGE_PX:
        text = (
            f"Red and blue lie up to {worst:.2g} lines off green, over 0.25 (ours): edges "
            "across travel get coloured fringes. colour_alignment, a line rate that divides "
            "the row distance, or an encoder remove them; a fringe that grows towards the ends "
            "of the line would be the lens's."
        )
        yield "fringe", text


def _missed(case: Case) -> Found:
    share, count_um = case.setup.missed_counts, case.setup.encoder_count_um
    if share > 0:
        steps = digits(1e6 * share / count_um, 3)
        advance_um = case.figure("geometry", "line_advance_um")
        pixels = count_um / case.figure("geometry", "object_pixel_y_um")
        text = (
            f"The encoder loses {percent(share)} of its counts: lines lie {advance_um:.6g} um "
            f"apart in the mean instead of {advance_um * (1 - share):.6g} um, the picture is "
            f"{percent(share)} too short along travel, and edges get steps of {count_um:.3g} "
            f"um ({pixels:.2g} object pixels), about {steps} a metre. "
            "Screened, balanced lines, a lower multiplier or a faster counter input help; an "
            "index mark once a turn tells whether counts are lost."
        )
        yield "encoder_missed", text


def _stages(case: Case) -> Found:
    place, when = case.numbers.geometry, case.numbers.timing
    step_um = float(when.exposed_advance_um - place.row_side_um)
    smear = abs(step_um) * case.setup.camera.tdi_stages / float(place.row_side_um)
    if case.setup.camera.tdi_stages > 1 and smear > _SMEAR_PX:
        text = (
            f"Line rate and speed are out of step: over {case.setup.camera.tdi_stages} stages "
            f"the picture smears by {smear:.2g} pixels along travel, over 0.5 (our threshold). "
            "An encoder, or a closer line rate, keeps charge and target together."
        )
        yield "tdi_sync", text


def _line_of_sight(case: Case) -> Found:
    # no -0 for a camera that looks straight down
    seen_deg = 0.0 - (case.setup.camera.angle_deg or 0.0)
    strips = [light.strip for light in case.setup.lights if light.arrangement == "line"]
    if any(each.low_deg <= seen_deg <= each.high_deg for each in strips):
        text = (
            f"The strip would stand where the camera looks along ({seen_deg:g} deg from the "
            "normal): that takes a beam splitter, which leaves about a quarter of the light "
            "(common practice). Otherwise move the strip, or lean the camera."
        )
        yield "lamp_in_view", text


def _room(case: Case) -> Found:
    """Judge the room between a lamp's lower edge and the target, at the worst of flutter."""
    for light in case.setup.lights:
        if light.lamp_distance_mm is None or light.lamp_width_mm is None:
            continue
        angle = np.radians(light.angle_deg or 0.0)
        edge_mm = light.lamp_distance_mm * np.cos(angle)
        edge_mm -= light.lamp_width_mm / 2 * abs(np.sin(angle))
        left_mm = float(edge_mm) - case.setup.transport.flutter_mm
        if left_mm < _ROOM_MM:
            text = (
                f"The lamp's lower edge would come within {max(left_mm, 0):.3g} mm of the "
                f"target, under {_ROOM_MM:g} mm (our threshold): a splice, a fold or a flutter "
                "touches it. Mount it farther away, or steeper."
            )
            yield "lamp_close", text


def _band(case: Case) -> Found:
    """Judge what a lamp's focus loses at the crest of flutter."""
    height_mm = np.array([case.setup.transport.flutter_mm])
    lost = 1 - float(band_share(case.setup, height_mm)[0])
    if lost > _BAND_LOSS:
        text = (
            f"At the crest of its flutter the target leaves the lamp's focus: {percent(lost)} "
            "of the light is lost there, over 5 % (our threshold), and comes and goes with it. "
            "A guide roller, or a lamp of a deeper band, helps."
        )
        yield "height_band", text


def _skew(case: Case) -> Found:
    slope = float(np.tan(np.deg2rad(case.setup.transport.skew_deg)))
    shift_um = 1000 * case.figure("geometry", "field_of_view_mm") * abs(slope)
    lines = shift_um / case.figure("geometry", "line_advance_um")
    if lines > _SHIFT_PX:
        text = (
            f"The sensor line is {case.setup.transport.skew_deg:.3g} degrees off the square to "
            f"travel: from one end of the line to the other the picture shears by {lines:.3g} "
            "lines."
        )
        yield "skew", text


def _flutter(case: Case) -> Found:
    flutter_mm = case.setup.transport.flutter_mm
    half_um = 500 * case.figure("geometry", "field_of_view_mm")
    shift_um = half_um * flutter_mm / case.setup.view_distance_mm
    pixels = shift_um / case.figure("geometry", "object_pixel_x_um")
    if pixels > _SHIFT_PX:
        text = (
            f"Flutter of {flutter_mm:.3g} mm moves the ends of the line by {pixels:.2g} "
            "pixels to and fro. A longer working distance, or looking at the web where a "
            "roller holds it, helps."
        )
        yield "edge_scale_error", text


def _flicker_seen(case: Case) -> float:
    """Share by which the lamp's flicker swings a delivered line, at the worst pace of the web."""
    light, when, place = case.setup.light, case.numbers.timing, case.numbers.geometry
    turns = light.flicker_frequency_hz * float(np.max(when.lit_us)) * 1e-6
    turns_apart = light.flicker_frequency_hz * float(when.line_period_us) * 1e-6
    by_encoder = case.setup.transport.trigger == "encoder"
    ripple = case.setup.transport.speed_ripple if by_encoder else 0.0
    exposures = case.setup.camera.tdi_stages * float(place.lines_joined)
    # an encoder's lines are as unevenly apart in time as the web moves
    joined = comb_mtf(exposures, turns_apart / np.linspace(1 - ripple, 1 + ripple, _PACES))
    return float(light.flicker * abs(np.sinc(turns)) * np.max(joined))


def _lamp(case: Case) -> Found:
    light, when = case.setup.light, case.numbers.timing
    seen = _flicker_seen(case)
    in_noise = seen / np.sqrt(2) * case.figure("signal", "snr_white")
    if seen > _BANDS_SHARE or in_noise > _BANDS_NOISE:
        rate_hz = float(when.line_rate_hz)
        alias_hz = abs(
            light.flicker_frequency_hz - rate_hz * round(light.flicker_frequency_hz / rate_hz)
        )
        pitch = f"bands {rate_hz / alias_hz:.4g} lines apart" if alias_hz > 0 else "no bands"
        text = (
            f"The lamp's flicker leaves {percent(seen, 2)} of the light in each line, "
            f"{in_noise:.2g} times the noise on white (rms): {pitch}. A lamp on constant current, "
            "or pulsed by the line trigger, has none; so has an exposure of whole periods."
        )
        yield "flicker_bands", text
    all_w_m2 = case.setup.irradiance_w_m2 + case.setup.ambient_w_m2
    if case.setup.ambient_w_m2 > _AMBIENT_SHARE * all_w_m2:
        text = (
            f"Ambient light is {percent(case.setup.ambient_w_m2 / all_w_m2)} of the light on "
            "the target, over 1 % (our threshold): it changes with the day, and flat-field "
            "references taken in it are wrong. Shield it."
        )
        yield "ambient", text


def _correction(case: Case) -> Found:
    profile = column_profile(case.setup, int(case.numbers.geometry.image_width_px))
    gain = float(1 / max(profile.min(), 1e-9))
    if case.setup.acquisition.flat_field and gain > _STEEP_GAIN:
        text = (
            f"The flat-field correction multiplies the ends of the line by up to {gain:.3g}, "
            "over 3 (common practice, no source): their noise too. It equalises level, not SNR."
        )
        yield "flat_field_gain", text


def _average(case: Case) -> Found:
    sensor = case.numbers.sensor
    noise_dn = float(case.numbers.dn_per_e * case.numbers.dark_noise_e)
    if float(sensor.averaged) > 1 and noise_dn < ROUNDING_DN:
        text = (
            f"After averaging, the dark noise is {noise_dn:.2g} DN, under 0.4 DN: rounding to "
            "the same word loses what averaging gained. Sum instead, or use more bits."
        )
        yield "average_rounds_gain_away", text


_CHECKS = (
    _colour,
    _line_of_sight,
    _room,
    _band,
    _stages,
    _missed,
    _skew,
    _flutter,
    _lamp,
    _correction,
    _average,
    lens_cautions,
)


def fault_cautions(case: Case) -> Found:
    """Find what to mind about faults that are switched on."""
    for check in _CHECKS:
        yield from check(case)
