"""Where along a range each demand is met, and all of them together, for each binning."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from linesim.figures.demands import Demand
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.along import Along
from linesim.studies.batch.figures import figures_of
from linesim.studies.batch.judged import ALWAYS, worst_of
from linesim.studies.batch.ranges import evenly
from linesim.studies.vary.crossing import USUAL_COUNT, Margin, Span, shared, spans_on, tried_of

MOST_ROWS = 9
"""Values of the second key for which the crossings along the first are given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Where one demand is met by one binning."""

    title: str
    exposure: str | None
    demand: Demand
    second: float | None
    met: tuple[Span, ...]
    able: tuple[Span, ...]
    against: tuple[Demand, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A part of a range in which everything holds."""

    span: Span
    below: Demand | None
    above: Demand | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """Where one binning meets all demands together."""

    title: str
    exposure: str | None
    second: float | None
    held: tuple[Held, ...]
    against: tuple[Demand, ...]


def answers_of(
    exposure: str | None, spaces: Mapping[str, Along], judged_by: tuple[Demand, ...]
) -> tuple[Answer, ...]:
    """Find where demands are met."""
    return tuple(
        answer
        for title, each in spaces.items()
        for second in _rows(each)
        for answer in _answers(each, second, judged_by, (title, exposure))
    )


def joints_of(answers: tuple[Answer, ...]) -> tuple[Joint, ...]:
    """Find where all demands are met together."""
    found: dict[tuple[str, str | None, float | None], list[Answer]] = {}
    for each in answers:
        found.setdefault((each.title, each.exposure, each.second), []).append(each)
    return tuple(_joint(rows) for rows in found.values())


def _joint(rows: list[Answer]) -> Joint:
    together = _all_of([each.met for each in rows])
    return Joint(
        title=rows[0].title,
        exposure=rows[0].exposure,
        second=rows[0].second,
        held=tuple(_held(rows, span) for span in together),
        against=() if together else tuple(each.demand for each in _against(rows)),
    )


def _all_of(parts: list[tuple[Span, ...]]) -> tuple[Span, ...]:
    """Give what all share."""
    together, *others = parts
    for each in others:
        together = shared(together, each)
    return together


def _held(rows: list[Answer], span: Span) -> Held:
    below = [each.demand for each in rows if any(s.begins and s.low == span.low for s in each.met)]
    above = [each.demand for each in rows if any(s.ends and s.high == span.high for s in each.met)]
    return Held(
        span=span, below=below[0] if span.begins else None, above=above[0] if span.ends else None
    )


def _against(rows: list[Answer]) -> list[Answer]:
    """Give what is met nowhere; else leave out what the rest contradicts without."""
    left = [each for each in rows if not each.met]
    if left:
        return left
    left = list(rows)
    for each in reversed(rows):
        others = [other for other in left if other is not each]
        if others and not _all_of([other.met for other in others]):
            left = others
    return left


def _rows(space: Along) -> list[float | None]:
    """Choose values of the second key, evenly among them, both ends included."""
    if len(space.ranges) == 1:
        return [None]
    return list(evenly(space.ranges[1].base_values, MOST_ROWS))


def _answers(
    space: Along, second: float | None, judged_by: tuple[Demand, ...], named: tuple[str, str | None]
) -> Iterator[Answer]:
    """Judge all demands at the same values, then search for the crossings of each."""
    over = space.ranges[0]
    tried = tried_of(over, USUAL_COUNT if second is None else 0)
    heights = _spares(space, second, judged_by, tried)
    parts = {
        demand: spans_on(over, (tried, heights[demand]), _margin(space, second, demand))
        for demand in judged_by
    }
    always = {demand: met for demand, met in parts.items() if demand.requirement in ALWAYS}
    able = _all_of(list(always.values()))
    for demand, met in parts.items():
        yield Answer(
            title=named[0],
            exposure=named[1],
            demand=demand,
            second=second,
            met=met,
            able=shared(met, able),
            against=tuple(other for other, free in always.items() if not shared(met, free)),
        )


def _margin(space: Along, second: float | None, demand: Demand) -> Margin:
    """Give the margin of one demand along the first range."""
    return lambda values: _spares(space, second, (demand,), values)[demand]


def _spares(
    space: Along, second: float | None, judged_by: tuple[Demand, ...], values: FloatArray
) -> dict[Demand, FloatArray]:
    """Work out by how much demands are passed at some values of the first range."""
    rest = () if second is None else ((second,),)
    chosen = {name: demand.group for demand in judged_by for name in demand.figures}
    found = figures_of(space.at((values.tolist(), *rest)), np.arange(len(values)), chosen)
    return {demand: demand.spare(worst_of(demand, found)) for demand in judged_by}
