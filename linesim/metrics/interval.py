"""Figures with their 95 % intervals, and errors of raw values carried through to them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.setup.arrays import FloatArray

SIDE_SD = 1.959963984540054
"""Standard errors on each side that hold 95 % of a normal law."""
_STEP = 0.01
"""Of a standard error, by which a value is moved to see what that does to a figure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A figure and the range that holds the truth in 95 of 100 measurements."""

    # in the unit that the holder's name gives
    value: float
    low: float
    high: float

    def times(self, ratio: float) -> "Interval":
        """Give the same in another unit."""
        return Interval(value=ratio * self.value, low=ratio * self.low, high=ratio * self.high)


def interval(estimate: Estimate, *, low: float = -np.inf) -> Interval:
    """Give the 95 % interval of a figure that errs normally."""
    reach = SIDE_SD * estimate.sd
    return Interval(
        value=estimate.value,
        low=float(max(low, estimate.value - reach)),
        high=float(max(low, estimate.value + reach)),
    )


def root_interval(variance: Estimate) -> Interval:
    """
    Give the 95 % interval of a standard deviation from that of its variance.

    The variance errs normally, also where there is nothing and it scatters around 0; its root does
    not. So the ends are the roots of the variance's own, 0 where these lie below.
    """
    seen = interval(variance)
    value, low, high = np.sqrt(np.maximum([seen.value, seen.low, seen.high], 0.0))
    return Interval(value=float(value), low=float(low), high=float(high))


def carried(
    figures: Callable[[FloatArray], FloatArray], values: FloatArray, sds: FloatArray
) -> FloatArray:
    """
    Carry the errors of independent raw values through to figures made of them.

    Each value is moved by a hundredth of its standard error to both sides. So figures that share
    raw values come out with all that binds them: the products of two rows are covariances.
    """
    moved = []
    for place in range(values.size):
        step = np.zeros_like(values)
        step[place] = _STEP * sds[place]
        moved.append((figures(values + step) - figures(values - step)) / (2 * _STEP))
    return np.stack(moved, axis=1)
