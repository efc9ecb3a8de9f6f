"""
Corrections of the delivered numbers: flat field from reference lines, and white balance.

The flat-field correction takes an offset and a gain for each column, black + (DN − dark)·gain, from
averages of a number of lines in the dark and on white. It brings every column to the level that
white has in the middle of the line. It equalises level, not SNR: dim ends are multiplied, noise and
all, and the noise of the averages stays in the picture as a fixed streak, 1/√lines of a line's own.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from linesim.forward.collect import Pattern, pattern
from linesim.forward.profile import column_profile
from linesim.forward.station import Station
from linesim.forward.streams import REFERENCE_STREAM, stream
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup

LEAST_SIGNAL_DN = 1.0
"""A column whose white is nearer to its dark than this, or should be, is left as it is. [DN]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Correction:
    """
    Offset and gain of each column.

    Parameters
    ----------
    dark_dn, gain : ndarray of shape (columns,)
        Taken off, and multiplied. [DN]
    black_level_dn : float
        Put back. [DN]
    """

    dark_dn: FloatArray
    gain: FloatArray
    black_level_dn: float

    def applied(self, image_dn: NDArray[np.uint16]) -> ImageArray:
        """Correct some lines; not yet whole numbers. [DN]."""
        gain = self.gain.astype(np.float32)
        offset = (self.black_level_dn - self.dark_dn * self.gain).astype(np.float32)
        return image_dn * gain + offset


def correction(setup: Setup, numbers: Station, seed: int, channel: int) -> Correction | None:
    """Work out the correction of one channel."""
    balances = np.broadcast_to(np.asarray(numbers.balance, dtype=np.float64), len(COLOURS))
    balance = float(balances[channel])
    black_dn = float(numbers.sensor.black_level_dn)
    columns = int(numbers.geometry.image_width_px)
    dark_dn, gain = np.full(columns, black_dn), np.ones(columns)
    if setup.acquisition.flat_field:
        fixed = pattern(setup, channel).joined(setup.acquisition.binning.across)
        white_e = float(np.atleast_1d(np.asarray(numbers.electrons_white))[channel])
        in_the_dark = stream(seed, REFERENCE_STREAM, channel, 0)
        on_white = stream(seed, REFERENCE_STREAM, channel, 1)
        dark_dn = _reference_line(setup, numbers, fixed, 0.0, in_the_dark)
        white_dn = _reference_line(setup, numbers, fixed, white_e, on_white)
        dark_e, kept_e = _kept(numbers, np.array([0.0, white_e]))
        wanted_dn = float(numbers.dn_per_e) * float(kept_e - dark_e)
        rise_dn = white_dn - dark_dn
        enough = np.minimum(rise_dn, wanted_dn) > LEAST_SIGNAL_DN
        gain = np.where(enough, wanted_dn / np.where(enough, rise_dn, 1.0), 1.0)
    elif balance == 1:
        return None
    return Correction(dark_dn=dark_dn, gain=gain * balance, black_level_dn=black_dn)


def uncorrected(numbers: Station) -> Station:
    """
    Take away what corrections do to the numbers.

    Parameters
    ----------
    numbers : Station
        The station.

    Returns
    -------
    Station
        The same without flat field and white balance.
    """
    return replace(numbers, balance=1.0, sensor=replace(numbers.sensor, reference_lines=0))


def _kept(numbers: Station, signal_e: FloatArray) -> FloatArray:
    """Charge of signal and dark current that the nearest limit lets through, unbalanced. [e]."""
    most_e = uncorrected(numbers).saturation_e
    return np.asarray(np.minimum(signal_e + numbers.dark_e, most_e))


def _reference_line(
    setup: Setup, numbers: Station, fixed: Pattern, white_e: float, rng: np.random.Generator
) -> FloatArray:
    """Average lines on an even target that gives so much in the middle, 0 in the dark. [DN]."""
    columns = int(numbers.geometry.image_width_px)
    repeats = int(numbers.geometry.lines_joined)
    signal_e = white_e * column_profile(setup, columns) * fixed.response[0, :columns]
    noise_dn = float(numbers.dn_per_e) * np.asarray(uncorrected(numbers).noise_e(signal_e))
    charge_e = _kept(numbers, signal_e) + repeats * fixed.offset_e[0, :columns]
    mean_dn = float(numbers.sensor.black_level_dn) + float(numbers.dn_per_e) * charge_e
    error_dn = noise_dn / np.sqrt(setup.acquisition.flat_field_lines)
    drawn_dn = mean_dn + error_dn * rng.standard_normal(columns)
    return np.asarray(np.clip(drawn_dn, 0, float(numbers.sensor.full_scale_dn)))
