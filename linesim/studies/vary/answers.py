"""Where along a range each demand is met, and all of them together, for each way of binning."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from linesim.figures.demands import Demand
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.demanded import ALWAYS, worst_of
from linesim.studies.batch.many import figures_of
from linesim.studies.batch.points import Walk
from linesim.studies.vary.crossing import USUAL_NET, Margin, Span, net_of, shared, spans_on

MOST_ROWS = 9
"""Values of the second key for which the crossings along the first are told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Where one demand is met by one way of binning."""

    title: str
    exposure: str | None
    demand: Demand
    beside: float | None
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
    """Where one way of binning meets all demands together."""

    title: str
    exposure: str | None
    beside: float | None
    held: tuple[Held, ...]
    against: tuple[Demand, ...]


def answers_of(
    exposure: str | None, walks: Mapping[str, Walk], judged_by: tuple[Demand, ...]
) -> tuple[Answer, ...]:
    """Find where demands are met."""
    return tuple(
        answer
        for title, each in walks.items()
        for beside in _rows(each)
        for answer in _answers(each, beside, judged_by, (title, exposure))
    )


def joints_of(answers: tuple[Answer, ...]) -> tuple[Joint, ...]:
    """Find where all demands are met together."""
    found: dict[tuple[str, str | None, float | None], list[Answer]] = {}
    for each in answers:
        found.setdefault((each.title, each.exposure, each.beside), []).append(each)
    return tuple(_joint(rows) for rows in found.values())


def _joint(rows: list[Answer]) -> Joint:
    together = _all_of([each.met for each in rows])
    return Joint(
        title=rows[0].title,
        exposure=rows[0].exposure,
        beside=rows[0].beside,
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
        span=span,
        below=below[0] if span.begins else None,
        above=above[0] if span.ends else None,
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


def _rows(along: Walk) -> list[float | None]:
    """Choose values of the second key, evenly among them, both ends included."""
    if len(along.ranges) == 1:
        return [None]
    values = along.ranges[1].base_values
    count = min(len(values), MOST_ROWS)
    return [values[index] for index in np.rint(np.linspace(0, len(values) - 1, count)).astype(int)]


def _answers(
    along: Walk,
    beside: float | None,
    judged_by: tuple[Demand, ...],
    named: tuple[str, str | None],
) -> Iterator[Answer]:
    """Look at all demands on one net, then for the crossings of each."""
    over = along.ranges[0]
    net = net_of(over, USUAL_NET if beside is None else 0)
    heights = _spares(along, beside, judged_by, net)
    parts = {
        demand: spans_on(over, (net, heights[demand]), _margin(along, beside, demand))
        for demand in judged_by
    }
    always = {demand: met for demand, met in parts.items() if demand.requirement in ALWAYS}
    able = _all_of(list(always.values()))
    for demand, met in parts.items():
        yield Answer(
            title=named[0],
            exposure=named[1],
            demand=demand,
            beside=beside,
            met=met,
            able=shared(met, able),
            against=tuple(other for other, free in always.items() if not shared(met, free)),
        )


def _margin(along: Walk, beside: float | None, demand: Demand) -> Margin:
    """Give the margin of one demand along the first range."""
    return lambda values: _spares(along, beside, (demand,), values)[demand]


def _spares(
    along: Walk, beside: float | None, judged_by: tuple[Demand, ...], values: FloatArray
) -> dict[Demand, FloatArray]:
    """Work out by how much demands are passed at some values of the first range."""
    rest = () if beside is None else (beside,)
    chosen = {name: demand.group for demand in judged_by for name in demand.figures}
    points = along.points((float(value), *rest) for value in values)
    found = figures_of(points, chosen, len(values), lambda _done, _total: None)
    return {demand: demand.spare(worst_of(demand, found)) for demand in judged_by}
