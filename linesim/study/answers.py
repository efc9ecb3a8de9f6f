"""Where along a range the requirements are met, for each way of binning."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.study.crossing import USUAL_NET, Margin, Span, shared, spans
from linesim.study.many import figures_of, groups_of
from linesim.study.points import Walk
from linesim.study.smooth import COSTLY
from linesim.study.wishes import UNSATURATED, Wish, weakest

MOST_ROWS = 9
"""Values of the second key for which the crossings along the first are told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """
    Where one requirement is met by one way of binning.

    Parameters
    ----------
    title : str
        The way of binning.
    exposure : str or None
        As of the study.
    wish : Wish
        The requirement, or the saturation limit.
    beside : float or None
        Value of the second key, in the door's unit; ``None`` where there is one key.
    met : tuple of Span
        Where it is met.
    unsaturated : tuple of Span
        The parts of these in which white does not saturate.
    """

    title: str
    exposure: str | None
    wish: Wish
    beside: float | None
    met: tuple[Span, ...]
    unsaturated: tuple[Span, ...]


def answers_of(
    exposure: str | None, walks: Mapping[str, Walk], wishes: tuple[Wish, ...]
) -> tuple[Answer, ...]:
    """
    Find where requirements and the saturation limit are met.

    Parameters
    ----------
    exposure : str or None
        As of the study.
    walks : mapping of str to Walk
        Title -> points, one a way of binning.
    wishes : tuple of Wish
        The requirements.

    Returns
    -------
    tuple of Answer
        Along the first range; with a second one, at its values, at most nine of them.

    Raises
    ------
    InputError
        Where a point between those of the ranges cannot be run.
    """
    found: list[Answer] = []
    for title, each in walks.items():
        groups = groups_of(each.ends)
        wanted = tuple((wish, groups.get(wish.figure, COSTLY)) for wish in (*wishes, UNSATURATED))
        for beside in _rows(each):
            found += _answers(each, beside, wanted, (title, exposure))
    return tuple(found)


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
    wanted: tuple[tuple[Wish, str], ...],
    named: tuple[str, str | None],
) -> Iterator[Answer]:
    over, net = along.ranges[0], USUAL_NET if beside is None else 0
    # the saturation limit stands last
    parts = [spans(over, _margin(along, wish, group, beside), net) for wish, group in wanted]
    unsaturated = parts[-1]
    for (wish, _), met in zip(wanted, parts, strict=True):
        yield Answer(
            title=named[0],
            exposure=named[1],
            wish=wish,
            beside=beside,
            met=met,
            unsaturated=shared(met, unsaturated),
        )


def _margin(along: Walk, wish: Wish, group: str, beside: float | None) -> Margin:
    """Give the margin of a requirement along the first range."""
    rest = () if beside is None else (beside,)
    chosen = {wish.figure: group}

    def margin(values: FloatArray) -> FloatArray:
        points = along.points((float(value), *rest) for value in values)
        found = figures_of(points, chosen, len(values), lambda _done, _total: None)
        return wish.margin(weakest(wish.figure, found[wish.figure]))

    return margin
