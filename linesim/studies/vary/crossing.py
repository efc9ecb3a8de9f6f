"""
Where along a range a requirement begins and ceases to be met.

Values of the range and some between them only bracket the places; each place itself is the root
of the closed form, by Brent's method on the margin. A figure that rises and falls again between two
such neighbours is not seen.
"""

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter

import numpy as np
from scipy.optimize import brentq

from linesim.setup.arrays import FloatArray
from linesim.studies.batch.ranges import Range, evenly

Margin = Callable[[FloatArray], FloatArray]
"""By which share a requirement is passed at values of a checked setup; negative if missed."""
USUAL_COUNT = 32
"""Values tried besides those of the range."""
_MOST_VALUES = 65
"""Values of a range that are tried; of more, so many evenly among them."""
_LOW, _HIGH = attrgetter("low"), attrgetter("high")
_EXACT = 1e-8
"""Of a crossing, as a share of the ends of its bracket; three digits are said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A part of a range in which a requirement is met."""

    low: float
    high: float
    begins: bool
    ends: bool

    def within(self, other: "Span") -> "Span | None":
        """Give what two parts share; ``None`` where there is nothing."""
        first, last = (max(self, other, key=_LOW), min(self, other, key=_HIGH))
        if first.low > last.high:
            return None
        return Span(low=first.low, high=last.high, begins=first.begins, ends=last.ends)


def spans_on(over: Range, known: tuple[FloatArray, FloatArray], margin: Margin) -> tuple[Span, ...]:
    """Find the parts of a range in which a requirement is met, from its margin at some values."""
    tried, heights = known
    met = heights >= 0
    edges = np.flatnonzero(met[1:] != met[:-1]).tolist()
    starts = [(0, False)] if met[0] else []
    starts += [(edge, True) for edge in edges if not met[edge]]
    stops = [(edge, True) for edge in edges if met[edge]] + ([(-1, False)] if met[-1] else [])
    return tuple(
        Span(
            low=_root(over, margin, tried, first, rising=True) if begins else float(tried[0]),
            high=_root(over, margin, tried, last, rising=False) if ends else float(tried[-1]),
            begins=begins,
            ends=ends,
        )
        for (first, begins), (last, ends) in zip(starts, stops, strict=True)
    )


def shared(some: tuple[Span, ...], others: tuple[Span, ...]) -> tuple[Span, ...]:
    """Find the parts in which two requirements are met."""
    pairs = (one.within(other) for one in some for other in others)
    return tuple(sorted((each for each in pairs if each is not None), key=_LOW))


def tried_of(over: Range, count: int) -> FloatArray:
    """Choose what to try of a range: its values and even ones between, whole where it is so."""
    values = np.array(over.base_values, dtype=np.float64)
    low, high = values[0], values[-1]
    if over.key.listed:
        return values
    values = np.array(evenly(values.tolist(), _MOST_VALUES))
    between = np.geomspace(low, high, count) if over.log else np.linspace(low, high, count)
    between = np.rint(between) if over.key.whole else np.clip(between, low, high)
    return np.unique(np.concatenate([values, between]))


def _root(over: Range, margin: Margin, tried: FloatArray, index: int, *, rising: bool) -> float:
    """Find the crossing between two neighbours that were tried; give the side that meets."""
    low, high = float(tried[index]), float(tried[index + 1])
    if over.key.listed:
        return high if rising else low
    if over.key.whole:
        return _whole(margin, low, high, rising=rising)

    def height(value: float) -> float:
        return float(margin(np.array([value]))[0])

    return float(brentq(height, low, high, xtol=_EXACT * (abs(low) + abs(high)), rtol=_EXACT))


def _whole(margin: Margin, low: float, high: float, *, rising: bool) -> float:
    """Halve down to two neighbouring whole numbers."""
    while high - low > 1:
        middle = np.floor((low + high) / 2)
        above = bool(margin(np.array([middle]))[0] >= 0)
        low, high = (low, middle) if above == rising else (middle, high)
    return float(high if rising else low)
