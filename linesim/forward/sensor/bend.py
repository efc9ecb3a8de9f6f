"""
A response that is not straight: q electrons that are read count as q (1 + B (1 - q/Q)).

Q is the charge of one reading at the nearest limit. Nothing and Q count as they are, half of Q as
Q B/4 more; the slope falls from 1 + B to 1 - B. Below 0 and above Q it goes on straight.

The linearity error of EMVA 1288 R4.0 RC (March 2021), (58), is the mean size of the deviations from
a straight line, as shares of it. That line is fitted over 5 to 95 % of saturation, so that their
squares are least. B is what has that error for even and many steps of light: some seven times it.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.stage import Samples, Stage
from linesim.setup.arrays import FloatArray

_STEPS = 2000
_HALVINGS = 40
_RANGE = (0.05, 0.95)


@lru_cache(maxsize=32)
def bend_of(linearity_error: float) -> float:
    """
    Give the bend B of a linearity error.

    Parameters
    ----------
    linearity_error : float; mean deviation from the straight line, share of it

    Returns
    -------
    float; 0 for none
    """
    if linearity_error == 0:
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if _error_of(middle) < linearity_error else (low, middle)
    return low


def _error_of(bend: float) -> float:
    """Fit the line of the standard to steps in the middle of even parts of its range."""
    low, high = straightened(np.array(_RANGE), bend, 1.0)
    light = low + (high - low) * (np.arange(_STEPS) + 0.5) / _STEPS
    signal = bent(light, bend, 1.0)
    line = np.polyval(np.polyfit(light, signal, 1, w=1 / signal), light)
    return float(np.abs(signal / line - 1).mean())


def bent(charge_e: FloatArray, bend: Figure, full_e: Figure) -> FloatArray:
    """
    Bend a charge.

    Parameters
    ----------
    charge_e : ndarray; that is read [e]
    bend : float or ndarray; B
    full_e : float or ndarray; charge of a reading at its nearest limit, Q [e]

    Returns
    -------
    ndarray; what a straight response would take for it [e]
    """
    inside = np.minimum(charge_e, full_e)
    return np.asarray(charge_e + bend * inside * (1 - np.maximum(inside, 0) / full_e))


def straightened(reported_e: FloatArray, bend: Figure, full_e: Figure) -> FloatArray:
    """
    Undo `bent`.

    Parameters
    ----------
    reported_e : ndarray; what a straight response would take for a charge [e]
    bend : float or ndarray; B, above 0
    full_e : float or ndarray; charge of a reading at its nearest limit, Q [e]

    Returns
    -------
    ndarray; the charge [e]
    """
    if not np.any(np.asarray(bend) > 0):
        return reported_e
    inside = np.clip(reported_e, 0, full_e)
    rise = 1 + np.asarray(bend)
    root = np.sqrt(rise**2 - 4 * bend * inside / full_e)
    # of the two roots the small one, in the form that loses no digits
    found = 2 * inside / (rise + root)
    return np.asarray(found + np.minimum(reported_e, 0) / rise + np.maximum(reported_e - full_e, 0))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bend(Stage):
    """A response that is not straight."""

    bend: float
    full_e: float  # charge of a reading at its nearest limit [e]

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Bend a strip."""
        inside = np.minimum(samples, np.float32(self.full_e))
        part = np.maximum(inside, 0) / np.float32(self.full_e)
        samples += np.float32(self.bend) * inside * (1 - part)
        return samples
