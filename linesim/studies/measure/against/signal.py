"""Signal, black level, fall-off and noise of a capture, against the prediction."""

import numpy as np

from linesim.forward.profile import column_profile
from linesim.forward.station import Station
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.levels import Levels, split_noise
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.measure.against.agreement import Difference

_BLACK_SHARE = 0.002
_BLACK_DN = 0.5
"""Least difference of black that counts, in parts of white and in numbers; our choice."""


def signal(numbers: Station, level: Levels, noise: Estimate) -> tuple[Difference, ...]:
    """
    Give signal, noise and their ratio on white, as the capture's level and noise have them.

    Parameters
    ----------
    noise : Estimate; variance in time over that predicted at the level that is there
    """
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
    """
    Give the noise in the dark, and the gain that shot noise tells.

    Parameters
    ----------
    left_dn : ndarray of shape (lines, columns); noise, without streaks and bands [DN]
    model_dn : ndarray of the same shape; signal that it comes with [DN]
    """
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
