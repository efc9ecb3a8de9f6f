"""
Transport: where each line starts on the target and how far it moves while it is exposed.

The speed is v(t) = v̄ (1 + a sin 2πgt), so y(t) = v̄ (t + a (1 − cos 2πgt) / (2πg)). A clock starts
lines at equal times: a ripple then moves the lines on the target. An encoder starts them at equal
travel: a ripple then moves the line period. Jitter moves each line by itself, and its mean
transfer is exp(−2π²σ²f²).
"""

from dataclasses import dataclass

import numpy as np

from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

STRIP_LINES = 64
"""Lines in a strip, counted from line 0: the unit of every random stream and of every task."""
JITTER_STREAM = 4
_NEWTON_STEPS = 40


@dataclass(frozen=True, slots=True, eq=False)
class LineTable:
    """
    What each line looks at.

    Parameters
    ----------
    start_um : ndarray of shape (lines,)
        Leading edge of the footprint on the target when the exposure starts. [µm]
    travel_um : ndarray of shape (lines,)
        Distance it moves while exposed. [µm]
    """

    start_um: FloatArray
    travel_um: FloatArray

    def __len__(self) -> int:
        """Count the lines."""
        return len(self.start_um)

    def filled(self, count: int) -> "LineTable":
        """Give ``count`` lines, the last one repeated behind the end."""
        index = np.minimum(np.arange(count), len(self) - 1)
        return LineTable(self.start_um[index], self.travel_um[index])


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """
    Place over time.

    Parameters
    ----------
    speed_um_s : float
        Mean speed. [µm/s]
    ripple : float
        Peak fraction of the speed.
    ripple_frequency_hz : float
        Of the ripple. [Hz]
    """

    speed_um_s: float
    ripple: float
    ripple_frequency_hz: float

    def place_um(self, time_s: FloatArray) -> FloatArray:
        """Travel since time 0. [µm]."""
        angular = 2 * np.pi * self.ripple_frequency_hz
        lag_s = self.ripple * (1 - np.cos(angular * time_s)) / angular
        return self.speed_um_s * (time_s + lag_s)

    def speed_at(self, time_s: FloatArray) -> FloatArray:
        """Speed at a time. [µm/s]."""
        angular = 2 * np.pi * self.ripple_frequency_hz
        return np.asarray(self.speed_um_s * (1 + self.ripple * np.sin(angular * time_s)))

    def time_s(self, place_um: FloatArray) -> FloatArray:
        """Give the time at which a place is reached, by Newton's method kept within its bracket."""
        swing_s = self.ripple / (np.pi * self.ripple_frequency_hz)
        high = place_um / self.speed_um_s
        low = high - swing_s
        time = high
        for _ in range(_NEWTON_STEPS if self.ripple > 0 else 0):
            over = self.place_um(time) - place_um
            high, low = np.where(over > 0, time, high), np.where(over > 0, low, time)
            newton = time - over / self.speed_at(time)
            time = np.where((newton >= low) & (newton <= high), newton, (low + high) / 2)
        return np.asarray(time)


def motion(setup: Setup) -> Motion:
    """
    Take the motion out of a setup.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Motion
        Plain numbers.
    """
    return Motion(
        speed_um_s=1000 * setup.transport.speed_mm_s,
        ripple=setup.transport.speed_ripple,
        ripple_frequency_hz=setup.transport.ripple_frequency_hz,
    )


def line_table(setup: Setup, station: Station, seed: int, first: int, last: int) -> LineTable:
    """
    Place some lines on the target.

    Parameters
    ----------
    setup : Setup
        The station.
    station : Station
        Its numbers.
    seed : int
        Of the jitter, one stream a strip.
    first, last : int
        First line and one past the last; ``first`` starts a strip.

    Returns
    -------
    LineTable
        The same for a line whatever range it is asked in.
    """
    index = np.arange(first, last, dtype=np.float64)
    moved = motion(setup)
    advance_um = float(station.timing.line_advance_um)
    if setup.transport.trigger == "encoder":
        start_um = index * advance_um
        time_s = moved.time_s(start_um)
    else:
        time_s = index / float(station.timing.line_rate_hz)
        start_um = moved.place_um(time_s)
    exposure_s = float(station.timing.exposure_us) * 1e-6
    travel_um = moved.place_um(time_s + exposure_s) - moved.place_um(time_s)
    jitter_um = setup.transport.line_jitter_um
    if jitter_um > 0:
        start_um = start_um + jitter_um * _jitter(seed, first, last)
    return LineTable(start_um, travel_um)


def _jitter(seed: int, first: int, last: int) -> FloatArray:
    strips = range(first // STRIP_LINES, -(-last // STRIP_LINES))
    drawn = [
        np.random.default_rng(
            np.random.SeedSequence(seed, spawn_key=(JITTER_STREAM, 0, strip))
        ).standard_normal(STRIP_LINES)
        for strip in strips
    ]
    begin = strips.start * STRIP_LINES
    return np.concatenate(drawn)[first - begin : last - begin] if drawn else np.zeros(0)
