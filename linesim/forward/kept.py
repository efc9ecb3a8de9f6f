"""
What wells and words leave of a charge and of its noise, on an even target. All broadcast.

A charge that swings about its mean meets one limit after the other: the physical pixel's well, the
place where charge is joined, the word of a conversion, the delivered word. Of a normal value with
mean µ and spread σ, a limit at µ + aσ leaves the mean µ + σ(a − aΦ(a) − φ(a)) and the mean square
about µ of σ²(Φ(a) − aφ(a) + a²(1 − Φ(a))); a small change of µ comes through by the share Φ(a).
What is left counts as normal again for the next limit. Where all limits are far this is the charge
and the noise of `linesim.forward.station`, to the last digit. Low limits (a black level under the
noise) are not among them.

References
----------
Moments of a normal value cut off at one side: derived. Signal to noise by the slope at the level:
as the incremental gain of ISO 15739 (from its contents and a public note; formulas not seen).
"""

from dataclasses import dataclass

import numpy as np
import scipy

from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray

_ENDLESS_E = 1e100
"""Stands for a limit that is not there. [e]"""
_LEAST_E2 = 1e-18
"""Stands for no noise at all, so that nothing is divided by 0. [e²]"""
_FAR = 12.0
"""Spreads from which on a limit is out of reach: exact in double precision."""
CLIPPED_SHARE = 1e-3
"""Samples that may reach a limit; EMVA 1288 (6.6) calls a camera saturated at 0.1 to 0.2 %."""
HEADROOM_SIGMAS = 3.0902
"""Spreads above the mean that a normal value passes in so few cases."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """An even level as it is delivered, in electrons of the delivered pixel."""

    charge_e: Figure  # mean of signal and dark current that is left [e]
    noise_e: Figure  # spread of it in time [e]
    slope: Figure  # share of a small change of the signal that is left


@dataclass(frozen=True, slots=True, kw_only=True)
class _Level:
    """A normal value: mean, variance, and the slope so far."""

    mean: FloatArray
    variance: FloatArray
    slope: FloatArray

    def times(self, count: Figure) -> "_Level":
        """Add up so many that are alike and independent."""
        return _Level(mean=self.mean * count, variance=self.variance * count, slope=self.slope)

    def noisier(self, variance: Figure) -> "_Level":
        """Add noise."""
        return _Level(mean=self.mean, variance=self.variance + variance, slope=self.slope)

    def _spread_over(self, shape: tuple[int, ...]) -> "_Level":
        """Leave it as it is, one value for each place."""
        parts = (self.mean, self.variance, self.slope)
        mean, variance, slope = (
            each if each.shape == shape else np.broadcast_to(each, shape) for each in parts
        )
        return _Level(mean=mean, variance=variance, slope=slope)

    def under(self, limit: Figure) -> "_Level":
        """Cut off at a limit."""
        spread = np.sqrt(np.maximum(self.variance, 1e-20))
        limit = np.minimum(np.asarray(limit, dtype=np.float64), _ENDLESS_E)
        place = np.minimum(np.maximum((limit - self.mean) / spread, -_FAR), _FAR)
        far = place >= _FAR
        if far.all():
            return self._spread_over(far.shape)
        below, above = scipy.special.ndtr(place), scipy.special.ndtr(-place)
        density = np.exp(-np.square(place) / 2) / np.sqrt(2 * np.pi)
        lost = density - place * above
        square = below - place * density + np.square(place) * above
        mean = np.where(place <= -_FAR, limit, self.mean - spread * lost)
        variance = self.variance * np.maximum(square - np.square(lost), 0.0)
        return _Level(
            mean=np.where(far, self.mean, mean),
            variance=np.where(far, self.variance, variance),
            slope=np.where(far, self.slope, self.slope * below),
        )


def kept(numbers: Station, signal_e: Figure) -> Kept:
    """
    Work out what is left of an even level.

    Parameters
    ----------
    signal_e : float or ndarray; signal of a delivered pixel, before any limit [e]

    Returns
    -------
    Kept; what is delivered of it, and its noise, once black level and gain are undone
    """
    sensor, wells, reads = numbers.sensor, numbers.wells(), numbers.reads
    charge_e = np.asarray(signal_e + numbers.dark_e, dtype=np.float64)
    word_e = sensor.conversion.full_scale_e
    one = _Level(mean=charge_e / wells, variance=charge_e / wells, slope=np.ones(()))
    level = one.under(sensor.full_well_e).times(wells / reads).under(numbers.place_e)
    read_e2 = sensor.read_noise_e**2 + sensor.line_noise_e**2
    level = level.noisier(read_e2).under(word_e).times(reads)
    # one and the same limit does not cut twice
    is_own = numbers.word_e < reads * np.asarray(word_e)
    level = level.under(np.where(is_own, numbers.word_e, np.inf))
    # whatever else is noise comes behind the limits: rounding, and what corrections bring
    behind_e2 = numbers.noise_e(signal_e) ** 2 - charge_e - reads * read_e2
    return Kept(
        charge_e=level.mean,
        noise_e=np.sqrt(np.maximum(level.variance + np.maximum(behind_e2, 0.0), _LEAST_E2)),
        slope=level.slope,
    )


def limit_share(numbers: Station, signal_e: Figure) -> Figure:
    """
    Share of the nearest limit that a level takes with its noise, 3.09 spreads above its mean.

    Each limit is held against the noise that is there: shot noise alone in a well, read noise too
    in a word; the fixed pattern everywhere.

    Parameters
    ----------
    signal_e : float or ndarray; signal of a delivered pixel [e]

    Returns
    -------
    float or ndarray; at 1, one sample in a thousand reaches the limit
    """
    sensor, wells, reads = numbers.sensor, numbers.wells(), numbers.reads
    charge_e = np.asarray(signal_e + numbers.dark_e, dtype=np.float64)
    read_e2 = sensor.read_noise_e**2 + numbers.line_noise_e**2 / reads
    of_pixel_e2 = (sensor.prnu * signal_e) ** 2 / wells**2
    of_pixel_e2 = of_pixel_e2 + (sensor.wave_gain * signal_e) ** 2 / (2 * wells**2)
    of_joined_e2 = numbers.uncorrected.pattern_e(signal_e) ** 2
    word_e = sensor.conversion.full_scale_e
    levels = (
        (charge_e / wells, charge_e / wells + of_pixel_e2, sensor.full_well_e),
        (charge_e, charge_e + of_joined_e2, numbers.place_e),
        (charge_e / reads, charge_e / reads + read_e2 + of_joined_e2 / reads, word_e),
        (charge_e, charge_e + reads * read_e2 + of_joined_e2, numbers.word_e),
    )
    shares = [
        (mean + HEADROOM_SIGMAS * np.sqrt(variance)) / limit for mean, variance, limit in levels
    ]
    return np.asarray(np.maximum.reduce(np.broadcast_arrays(*shares)))
