"""
What rounding to whole numbers does to noise and mean, where it is not noise of 1/12 DN² by itself.

Derived. A number that is whole already and is multiplied is rounded again, and moved by what
depends on the number: 0, 1, 2 times 1.1 are 0, 1, 2. How far that changes the noise depends on
where the level lies between two numbers, which nobody can set; so the range is given.
"""

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
import scipy

from linesim.forward.conversion import QUANTISATION_VARIANCE_DN2
from linesim.setup.arrays import FloatArray

_REACH = 6.0
_PLACES = np.arange(4) / 4
_OFFSETS_DN = np.arange(32)[:, None, None] / 32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Columns:
    """Some columns whose whole numbers are multiplied and rounded once more."""

    gains: FloatArray  # shape (columns,); by which numbers are multiplied
    levels_dn: FloatArray  # shape (columns,); mean of the numbers before [DN]
    # shape (columns,); what is added after, but for a part that all have alike [DN]
    offsets_dn: FloatArray


def noise_rounded_again(noise_dn: float, columns: Columns) -> tuple[float, float]:
    """
    Give the range of the noise of whole numbers that are multiplied and rounded once more.

    Every number that may come is counted with its chance, for 4 places of the level within a number
    and 32 of the second rounding, which all columns share.
    """
    before_dn = sqrt(max(noise_dn**2 - QUANTISATION_VARIANCE_DN2, 1e-12))
    reach = ceil(_REACH * before_dn) + 1
    steps = np.arange(-reach, reach + 1, dtype=np.float64)
    found = [_variances_dn2(steps, before_dn, columns, place) for place in _PLACES]
    return float(np.sqrt(max(np.min(found), 0.0))), float(np.sqrt(np.max(found)))


def _variances_dn2(
    steps: FloatArray, before_dn: float, columns: Columns, place: float
) -> FloatArray:
    """Mean variance of the columns at one place of the level, for each of the offsets. [DN²]."""
    middle = np.floor(columns.levels_dn + place)
    away = steps - (columns.levels_dn + place - middle)[:, None]
    above, below = (scipy.special.ndtr((away + half) / before_dn) for half in (0.5, -0.5))
    chance = above - below
    gains, rest_dn = columns.gains[:, None], columns.gains * middle + columns.offsets_dn
    # whole numbers that are added change nothing
    rest_dn = rest_dn - np.floor(rest_dn)
    again = np.floor(gains * steps + rest_dn[:, None] + _OFFSETS_DN + 0.5)
    means = (chance * again).sum(axis=2)
    return np.asarray(((chance * again**2).sum(axis=2) - means**2).mean(axis=1))


def conversion_shift(noise_dn: float) -> float:
    """
    Bound how far rounding moves the mean of a conversion.

    Of normal noise the characteristic function leaves exp(−2π²σ²)/π; higher terms are next to none.
    """
    return min(float(np.exp(-2 * np.pi**2 * noise_dn**2)) / np.pi, 0.5)


def joined_shift(numbers: int, black_level_dn: float, *, average: bool) -> float:
    """
    Give how far the joining of whole numbers moves the mean.

    The mean of n whole numbers lies on steps of 1/n, and halves are rounded up. A sum takes off
    n − 1 black levels, and what is no whole number of them is rounded.
    """
    if average:
        return 1 / (2 * numbers) if numbers % 2 == 0 else 0.0
    taken = (numbers - 1) * black_level_dn
    return float(np.floor(0.5 - taken) + taken)
