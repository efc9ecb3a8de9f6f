"""
Where along a range a requirement begins and ceases to be met.

Values of the range and some between them only bracket the places; each place itself is the root
of the closed form, by Brent's method on the margin. A figure that rises and falls again between two
neighbours of that net is not seen.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from linesim.setup.arrays import FloatArray
from linesim.studies.batch.ranges import Range

Margin = Callable[[FloatArray], FloatArray]
"""Given values in the door's unit: by which share a requirement is passed, negative if missed."""
USUAL_NET = 32
"""Values of the net besides those of the range."""
_MOST_VALUES = 65
"""Values of a range in the net; of more, so many evenly among them."""
_EXACT = 1e-8
"""Of a crossing, as a share of the ends of its bracket; three digits are told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A part of a range in which a requirement is met."""

    low: float
    high: float
    begins: bool
    ends: bool

    def within(self, other: "Span") -> "Span | None":
        """Give what two parts share; ``None`` where there is nothing."""
        first, last = max(self, other, key=_low), min(self, other, key=_high)
        if first.low > last.high:
            return None
        return Span(low=first.low, high=last.high, begins=first.begins, ends=last.ends)


def _low(span: Span) -> float:
    return span.low


def _high(span: Span) -> float:
    return span.high


def spans(over: Range, margin: Margin, between: int = USUAL_NET) -> tuple[Span, ...]:
    """Find the parts of a range in which a requirement is met."""
    net = net_of(over, between)
    return spans_on(over, (net, margin(net)), margin)


def spans_on(over: Range, known: tuple[FloatArray, FloatArray], margin: Margin) -> tuple[Span, ...]:
    """Find the parts of a range in which a requirement is met, from its margin on a net."""
    net, heights = known
    met = heights >= 0
    edges = np.flatnonzero(met[1:] != met[:-1]).tolist()
    starts = [(0, False)] if met[0] else []
    starts += [(edge, True) for edge in edges if not met[edge]]
    stops = [(edge, True) for edge in edges if met[edge]] + ([(-1, False)] if met[-1] else [])
    return tuple(
        Span(
            low=_root(over, margin, net, first, rising=True) if begins else float(net[0]),
            high=_root(over, margin, net, last, rising=False) if ends else float(net[-1]),
            begins=begins,
            ends=ends,
        )
        for (first, begins), (last, ends) in zip(starts, stops, strict=True)
    )


def shared(some: tuple[Span, ...], others: tuple[Span, ...]) -> tuple[Span, ...]:
    """Find the parts in which two requirements are met."""
    pairs = (one.within(other) for one in some for other in others)
    return tuple(sorted((each for each in pairs if each is not None), key=_low))


def net_of(over: Range, count: int) -> FloatArray:
    """Lay a net over a range: its values, and even ones between; whole numbers only if so."""
    values = np.array(over.base_values, dtype=np.float64)
    low, high = values[0], values[-1]
    if over.key.listed:
        return values
    if len(values) > _MOST_VALUES:
        values = values[np.rint(np.linspace(0, len(values) - 1, _MOST_VALUES)).astype(int)]
    between = np.geomspace(low, high, count) if over.log else np.linspace(low, high, count)
    between = np.rint(between) if over.key.whole else np.clip(between, low, high)
    return np.unique(np.concatenate([values, between]))


def _root(over: Range, margin: Margin, net: FloatArray, index: int, *, rising: bool) -> float:
    """Find the crossing between two neighbours of the net; give the side that meets."""
    low, high = float(net[index]), float(net[index + 1])
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
