"""Quantiles of many values: what numpy gives, to the last bit, several times as fast."""

from collections.abc import Sequence
from math import floor, sqrt

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import ImageArray

_STRIDE = 509
"""A look at each so many-th value, a prime: columns of an image are seldom a multiple of it."""
_FEW = 200_000
"""Up to so many values numpy is as quick."""
_SURE_SD = 6.0
_ROWS, _COLUMNS = 5, 101
"""Steps of a look at an image."""


def quantiles(values: ImageArray, shares: tuple[float, ...]) -> NDArray[np.float64]:
    """
    Give quantiles along the first axis, as numpy.quantile does: linear between order statistics.

    A thin sample brackets each quantile; only values in the bracket are sorted. Where the sample
    led astray, numpy sorts them all.
    """
    if len(values) <= _FEW:
        return np.asarray(np.quantile(values, shares, axis=0))
    if values.ndim > 1:
        each = [quantiles(np.ascontiguousarray(column), shares) for column in values.T]
        return np.stack(each, axis=-1)
    seen = np.sort(values[::_STRIDE])
    return np.array([_quantile(values, seen, share) for share in shares])


def _quantile(values: ImageArray, seen: ImageArray, share: float) -> float:
    place = (len(values) - 1) * share
    first = min(floor(place), len(values) - 2)
    middle, reach = share * len(seen), _SURE_SD * sqrt(share * (1 - share) * len(seen)) + 2
    low = seen[max(floor(middle - reach), 0)]
    high = seen[min(floor(middle + reach), len(seen) - 1)]
    below = int(np.count_nonzero(values < low))
    if low == high:
        inside = np.broadcast_to(low, int(np.count_nonzero(values == low)))
    else:
        inside = values[(values >= low) & (values <= high)]
    at = first - below
    if at < 0 or at + 1 >= len(inside):
        return float(np.quantile(values, share * np.ones(1))[0])
    pair = inside[:2] if low == high else np.partition(inside, (at, at + 1))[at : at + 2]
    # of two values, numpy's quantile is its own way between two order statistics
    return float(np.quantile(pair, np.array([place - first]))[0])


def at_most(parts: Sequence[ImageArray], share: float) -> float:
    """Give a value that a quantile does not exceed, likely a near one, looking at each once."""
    count = sum(part.size for part in parts)
    seen = np.sort(np.concatenate([part[::_ROWS, ::_COLUMNS].ravel() for part in parts]))
    reach = _SURE_SD * sqrt(share * (1 - share) * len(seen)) + 2
    high = seen[min(floor(share * len(seen) + reach), len(seen) - 1)]
    above = sum(int(np.count_nonzero(part > high)) for part in parts)
    # the quantile lies between two order statistics; the upper one must not be above
    if count - 1 - above >= floor((count - 1) * share) + 1:
        return float(high)
    return float(max(part.max() for part in parts))
