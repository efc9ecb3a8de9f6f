"""What differences between prediction and capture point at: one cause a sentence."""

import numpy as np

from linesim.forward.station import station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.measure.against.agreement import Difference

_SURE = 9.0
"""Difference in chi squared, three sigma, from which on light is told from gain; our choice."""


_OTHER = (
    "Other detail: the capture has detail that the prediction does not have, or has elsewhere, so "
    "that nothing can be said of noise, sharpness, streaks and lines. Look at the picture of what "
    "is left (--report): another piece of the product, a web that stretches or flutters, marks, "
    "reflections."
)
_SAID = {
    "light_ends": (
        "Fall-off: the ends of the line get {measured:.1%} of the light in its middle, where "
        "{predicted:.1%} was predicted. Look at the lamp's length and distance, its ends, and the "
        "lens's own fall-off (light.edge_falloff, lens.focal_length)."
    ),
    "line_light": (
        "Line light: lines differ in brightness by {measured:.2%} (rms), where {predicted:.2%} was "
        "predicted. Look at the lamp's supply (flicker), and at an exposure that follows the line "
        "period."
    ),
    "line_sideways_px": (
        "Sideways: lines lie {measured:.2f} columns aside of their places (rms; {predicted:.2f} "
        "predicted). Look at how the web is guided, and at vibration."
    ),
}
"""What is said of a figure that is off, whichever way."""


def causes(
    differences: tuple[Difference, ...],
    setup: Setup,
    strays_px: FloatArray | None,
    *,
    trusted: bool = True,
) -> tuple[str, ...]:
    """Say what is off and where to look; of a capture with detail of its own, what that leaves."""
    named = {each.name: each for each in differences}
    off = {name: each for name, each in named.items() if each.is_off}
    single = {
        "electrons_white": lambda _: _level(named),
        "black_dn": _black,
        "light_ends": _plain,
        "light_right_left": _side,
        "column_pattern": _columns,
        "line_light": _plain,
        "line_places_px": lambda each: _places(each, setup, strays_px),
        "line_sideways_px": _plain,
    }
    if not trusted:
        even = ("electrons_white", "black_dn", "light_ends", "light_right_left")
        return (_OTHER, *(single[name](off[name]) for name in even if name in off))
    found = [say(off[name]) for name, say in single.items() if name in off]
    return (*found, *_noise(named, off), *_sharpness(named))


def _share(each: Difference) -> float:
    return each.share or 0.0


def _level(named: dict[str, Difference]) -> str:
    level, gain = named["electrons_white"], named.get("gain_dn_e")
    word = f"{abs(_share(level)):.1%} {'less' if _share(level) < 0 else 'more'} than predicted"
    if gain is None:
        return (
            f"Signal: {word}. Look at the light's level and distance, the aperture, the exposure, "
            "the gain and the target's reflectance."
        )
    shot, error = _share(gain), gain.measured.sd / gain.predicted
    # how much worse one explanation fits the gain that shot noise tells than the other
    by_light = ((shot - _share(level)) ** 2 - shot**2) / error**2
    if by_light < -_SURE:
        return (
            f"Gain: the signal is {word}, and the noise that grows with it tells a gain of "
            f"{gain.measured.value:.3g} DN/e in place of {gain.predicted:.3g}. Look at the "
            "camera's gain setting; the light is as predicted."
        )
    if by_light > _SURE:
        return (
            f"Light: {word}, at the gain that was predicted. Look at the light's level, age and "
            "distance, the aperture, the exposure and the target's reflectance."
        )
    return (
        f"Signal: {word}; whether by light or gain this image's noise does not tell. Look at the "
        "light's level and distance, the aperture, the exposure, the gain and the target's "
        "reflectance."
    )


def _black(each: Difference) -> str:
    more = each.measured.value - each.predicted
    advice = (
        "Look at the camera's black level and at light that is nowhere in the setup: ambient "
        "light, a veil of stray light in the lens."
        if more > 0
        else "Look at the camera's black level, and at ambient light that is in the setup alone."
    )
    return (
        f"Black level: {each.measured.value:.1f} DN where {each.predicted:.1f} DN were predicted. "
        f"{advice}"
    )


def _noise(named: dict[str, Difference], off: dict[str, Difference]) -> list[str]:
    noise, dark = named["noise_white_e"], off.get("dark_noise_e")
    by_gain = "electrons_white" in off and _level(named).startswith("Gain")
    if by_gain or (dark is None and not noise.is_off):
        return []
    if dark is not None:
        said = (
            f"Read noise: {dark.measured.value:.3g} e in the dark, {_more(dark)} than the "
            f"{dark.predicted:.3g} e predicted. Look at camera.read_noise, the camera's gain stage "
            "and temperature, and at interference."
        )
    elif "electrons_white" in off:
        said = (
            f"Noise: {_more(noise)} than predicted at this signal. Look at gain and read noise, "
            "and at interference."
        )
    else:
        # light and gain that are off by as much the other way would be a chance
        said = (
            f"Read noise: noise is {_more(noise)} than predicted at this signal, and the signal is "
            "as predicted. Look at camera.read_noise, the camera's gain stage and temperature, and "
            "at interference; and at whether the target has a texture that its image does not have."
        )
    return [said]


def _more(each: Difference) -> str:
    return f"{abs(_share(each)):.1%} {'more' if _share(each) > 0 else 'less'}"


def _sharpness(named: dict[str, Difference]) -> list[str]:
    if "mtf50_x_lp_mm" not in named:
        return []
    across, along = named["mtf50_x_lp_mm"], named["mtf50_y_lp_mm"]
    words = {True: "less", False: "more"}
    both = f"MTF50 {_share(across):+.1%} across and {_share(along):+.1%} along"
    if across.is_off:
        softer = words[_share(across) > 0]
        also = along.is_off and np.sign(_share(across)) == np.sign(_share(along))
        where = "in both directions" if also else "across the line"
        lens = "Look at focus, working distance, aperture and the lens's own blur."
        return [f"Lens: {softer} blur than predicted {where} ({both}). {lens}"]
    if along.is_off:
        softer = words[_share(along) > 0]
        motion = "Look at exposure, speed, line rate and vibration."
        return [f"Motion: {softer} blur than predicted along travel alone ({both}). {motion}"]
    return []


def _plain(each: Difference) -> str:
    return _SAID[each.name].format(measured=each.measured.value, predicted=each.predicted)


def _side(each: Difference) -> str:
    side = "last" if each.measured.value > 1 else "first"
    return (
        f"Uneven light: the side of the {side} column is brighter by "
        f"{abs(each.measured.value - 1):.1%}. Look at whether lamp and camera are parallel to the "
        "web."
    )


def _columns(each: Difference) -> str:
    advice = (
        "Look at dirt on sensor, lens and lamp, and at whether the flat field is on and fresh."
        if each.measured.value > each.predicted
        else "The camera's pattern is smaller than the setup's (camera.prnu, camera.dsnu)."
    )
    return (
        f"Columns: their light differs by {each.measured.value:.2%} (rms, streaks along travel), "
        f"where {each.predicted:.2%} was predicted. {advice}"
    )


def _places(each: Difference, setup: Setup, strays_px: FloatArray | None) -> str:
    said = (
        f"Line places: lines stray by {each.measured.value:.2f} of a line from an even advance "
        f"(rms), where {each.predicted:.2f} was predicted."
    )
    swing = None if strays_px is None else _swing(strays_px)
    if swing is None:
        return f"{said} Look at the drive's speed, the encoder and vibration."
    amplitude_px, cycles_line = swing
    timing = station(setup).timing
    hertz = cycles_line * float(timing.line_rate_hz)
    speed_um_s = 1000 * setup.transport.speed_mm_s
    advance_um = float(timing.line_advance_um)
    ripple = amplitude_px * advance_um * 2 * np.pi * hertz / speed_um_s
    if setup.transport.trigger == "encoder":
        return (
            f"{said} They swing by {amplitude_px:.2f} lines every {1 / cycles_line:.0f} lines, "
            f"{advance_um / cycles_line / 1000:.3g} mm of travel. Look at the encoder's wheel and "
            "coupling (transport.encoder_turn_error), and at vibration of the camera."
        )
    return (
        f"{said} They swing by {amplitude_px:.2f} lines at {hertz:.3g} Hz: as with "
        f"transport.speed_ripple = {ripple:.2g} at that frequency. Look at the drive, its rollers "
        "and their bearings."
    )


_MOST_SWINGS = 4
_MOSTLY = 0.5


def _swing(strays_px: FloatArray) -> tuple[float, float] | None:
    """Give amplitude and frequency of one sine, where it makes up most of the straying."""
    lines = np.arange(len(strays_px))
    best = (0.0, 0.0, 0.0)
    for cycles in np.arange(0.5, len(lines) / _MOST_SWINGS, 0.125) / len(lines):
        turn = 2 * np.pi * cycles * lines
        basis = np.stack([np.cos(turn), np.sin(turn), np.ones(len(lines)), lines], axis=1)
        coefficients, *_ = np.linalg.lstsq(basis, strays_px, rcond=None)
        left = float(np.var(strays_px - basis @ coefficients))
        share = 1 - left / max(float(np.var(strays_px)), 1e-30)
        if share > best[0]:
            best = share, float(np.hypot(coefficients[0], coefficients[1])), float(cycles)
    return (best[1], best[2]) if best[0] > _MOSTLY else None
