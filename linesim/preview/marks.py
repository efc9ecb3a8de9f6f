"""Where along a slider all is met, and where the picture clips: the budget at places along it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from linesim.figures.verdicts import Verdict, worst_state
from linesim.preview.control_kinds import Slider

_PLACES = 11
_HALVINGS = 5
"""Of a gap between two places that differ: to a three-hundredth of the slider."""
Judge = Callable[[float], Sequence[Verdict] | None]
"""Verdicts at a value; ``None`` where the setup is refused."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """What holds at one place of a slider."""

    share: float
    met: bool
    clips: bool


def value_at(slider: Slider, share: float) -> float:
    """Give the value at a share of a slider's length."""
    low, high = slider.limits
    found = low * (high / low) ** share if slider.log else low + (high - low) * share
    return min(max(found, low), high)


def spans(slider: Slider, judge: Judge) -> dict[str, list[list[float]]]:
    """Find the ranges of values where all is met, and where the brightest part clips."""

    def at(share: float) -> _Place:
        found = judge(value_at(slider, share))
        if found is None:
            return _Place(share=share, met=False, clips=False)
        clips = any(each.requirement == "clipping" and not each.met for each in found)
        return _Place(share=share, met=worst_state(found) == "met", clips=clips)

    places = [at(float(share)) for share in np.linspace(0, 1, _PLACES)]
    return {
        name: [[value_at(slider, share) for share in each] for each in _ranges(places, at, name)]
        for name in ("met", "clips")
    }


def _ranges(
    places: Sequence[_Place], at: Callable[[float], _Place], name: str
) -> list[tuple[float, float]]:
    borders = [
        _border(one, other, at, name)
        for one, other in pairwise(places)
        if getattr(one, name) != getattr(other, name)
    ]
    starts = [places[0].share] * getattr(places[0], name)
    ends = [places[-1].share] * getattr(places[-1], name)
    each = iter([*starts, *borders, *ends])
    return list(zip(each, each, strict=True))


def _border(one: _Place, other: _Place, at: Callable[[float], _Place], name: str) -> float:
    """Halve the gap; give the end at which it holds."""
    for _ in range(_HALVINGS):
        middle = at((one.share + other.share) / 2)
        if getattr(middle, name) == getattr(one, name):
            one = middle
        else:
            other = middle
    return one.share if getattr(one, name) else other.share
