"""Where along a range each demand is met, and all of them together, for each way of binning."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from linesim.budget.demands import Demand
from linesim.setup.arrays import FloatArray
from linesim.study.crossing import USUAL_NET, Margin, Span, net_of, shared, spans_on
from linesim.study.many import figures_of
from linesim.study.points import Walk
from linesim.study.wishes import ALWAYS, worst_of

MOST_ROWS = 9
"""Values of the second key for which the crossings along the first are told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """
    Where one demand is met by one way of binning.

    Parameters
    ----------
    title : str
        The way of binning.
    exposure : str or None
        As of the study.
    wish : Demand
        What is judged.
    beside : float or None
        Value of the second key, in the door's unit; ``None`` where there is one key.
    met : tuple of Span
        Where it is met.
    able : tuple of Span
        The parts of these in which the station can run and nothing clips.
    against : tuple of Demand
        Where there are none: what always fails where it is met.
    """

    title: str
    exposure: str | None
    wish: Demand
    beside: float | None
    met: tuple[Span, ...]
    able: tuple[Span, ...]
    against: tuple[Demand, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """
    A part of a range in which everything holds.

    Parameters
    ----------
    span : Span
        Where.
    below, above : Demand or None
        What is missed beyond its ends; ``None`` where the range itself ends.
    """

    span: Span
    below: Demand | None
    above: Demand | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """
    Where one way of binning meets all demands together.

    Parameters
    ----------
    title : str
        The way of binning.
    exposure : str or None
        As of the study.
    beside : float or None
        Value of the second key, in the door's unit; ``None`` where there is one key.
    held : tuple of Held
        Rising; empty where nothing meets everything.
    against : tuple of Demand
        Where it is empty: demands that no place meets together, as few as there are.
    """

    title: str
    exposure: str | None
    beside: float | None
    held: tuple[Held, ...]
    against: tuple[Demand, ...]


def answers_of(
    exposure: str | None, walks: Mapping[str, Walk], wishes: tuple[Demand, ...]
) -> tuple[Answer, ...]:
    """
    Find where demands are met.

    Parameters
    ----------
    exposure : str or None
        As of the study.
    walks : mapping of str to Walk
        Title -> points, one a way of binning.
    wishes : tuple of Demand
        What is judged.

    Returns
    -------
    tuple of Answer
        Along the first range; with a second one, at its values, at most nine of them.

    Raises
    ------
    InputError
        Where a point cannot be run.
    """
    return tuple(
        answer
        for title, each in walks.items()
        for beside in _rows(each)
        for answer in _answers(each, beside, wishes, (title, exposure))
    )


def joints_of(answers: tuple[Answer, ...]) -> tuple[Joint, ...]:
    """
    Find where all demands are met together.

    Parameters
    ----------
    answers : tuple of Answer
        Of all ways of binning.

    Returns
    -------
    tuple of Joint
        One for each way of binning, exposure and value of the second key, in their order.
    """
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
        against=() if together else tuple(each.wish for each in _against(rows)),
    )


def _all_of(parts: list[tuple[Span, ...]]) -> tuple[Span, ...]:
    """Give what all share."""
    together, *others = parts
    for each in others:
        together = shared(together, each)
    return together


def _held(rows: list[Answer], span: Span) -> Held:
    below = [each.wish for each in rows if any(s.begins and s.low == span.low for s in each.met)]
    above = [each.wish for each in rows if any(s.ends and s.high == span.high for s in each.met)]
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
    wishes: tuple[Demand, ...],
    named: tuple[str, str | None],
) -> Iterator[Answer]:
    """Look at all demands on one net, then for the crossings of each."""
    over = along.ranges[0]
    net = net_of(over, USUAL_NET if beside is None else 0)
    heights = _spares(along, beside, wishes, net)
    parts = {
        wish: spans_on(over, (net, heights[wish]), _margin(along, beside, wish)) for wish in wishes
    }
    always = {wish: met for wish, met in parts.items() if wish.requirement in ALWAYS}
    able = _all_of(list(always.values()))
    for wish, met in parts.items():
        yield Answer(
            title=named[0],
            exposure=named[1],
            wish=wish,
            beside=beside,
            met=met,
            able=shared(met, able),
            against=tuple(other for other, free in always.items() if not shared(met, free)),
        )


def _margin(along: Walk, beside: float | None, wish: Demand) -> Margin:
    """Give the margin of one demand along the first range."""
    return lambda values: _spares(along, beside, (wish,), values)[wish]


def _spares(
    along: Walk, beside: float | None, wishes: tuple[Demand, ...], values: FloatArray
) -> dict[Demand, FloatArray]:
    """Work out by how much demands are passed at some values of the first range."""
    rest = () if beside is None else (beside,)
    chosen = {name: wish.group for wish in wishes for name in wish.figures}
    points = along.points((float(value), *rest) for value in values)
    found = figures_of(points, chosen, len(values), lambda _done, _total: None)
    return {wish: wish.spare(worst_of(wish, found)) for wish in wishes}
