"""Options that are shown: each goes through the door, and must give the same figures again."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from linesim.budget.budget import Budget, budget
from linesim.budget.case import values
from linesim.budget.detection import detection_group, search
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.study.options import option, option_setup
from linesim.study.space import Space
from linesim.study.stations import Way, picked

AGREE = 1e-9
"""Share by which the figures of one option, and those of all at once, may differ."""
_WEAKEST = ("electrons_white", "snr_white", "defect_dprime")
"""Figures of which the smallest of the colours counts; of all others the largest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """
    One option.

    Parameters
    ----------
    index : int
        Which option of the space.
    choice : mapping
        Axis -> label of its value.
    figures : mapping
        Name -> value.
    setup : Setup
        The option, through the door.
    budget : Budget
        Its figures, cautions and verdicts.
    """

    index: int
    choice: Mapping[str, str]
    figures: Mapping[str, float]
    setup: Setup = field(repr=False)
    budget: Budget = field(repr=False)


def checked_rows(
    space: Space,
    grids: Sequence[Way],
    indexes: NDArray[np.intp],
    figures: Mapping[str, FloatArray],
) -> dict[int, Row]:
    """
    Take some options through the door, and hold them against what was worked out for all at once.

    Parameters
    ----------
    space : Space
        What may be chosen.
    grids : sequence of Way
        The stations.
    indexes : ndarray of int
        The options.
    figures : mapping
        Name -> one value an option. The sizes just found of these options are put in exactly, in
        place of those that were read off a table.

    Returns
    -------
    dict
        Option -> row.

    Raises
    ------
    ArithmeticError
        Where the two ways differ.
    """
    for way in grids:
        _exact(space, way, indexes, figures)
    return {int(index): _row(space, int(index), figures) for index in indexes}


def _exact(
    space: Space, way: Way, indexes: NDArray[np.intp], figures: Mapping[str, FloatArray]
) -> None:
    (size_name,) = (name for name in figures if name.startswith("smallest_"))
    flat = np.flatnonzero(np.isin(way.index.ravel(), indexes))
    here = way.index.ravel()[flat]
    known = ~np.isnan(figures[size_name][here])
    if known.any():
        group = detection_group(picked(way, flat[known]), search(space.base))
        figures[size_name][here[known]] = np.asarray(group[size_name]).max(axis=-1)


def _row(space: Space, index: int, figures: Mapping[str, FloatArray]) -> Row:
    points = option(space, index)
    setup = option_setup(space, index)
    found = budget(setup)
    mine = {name: float(column[index]) for name, column in figures.items()}
    mine = {name: value for name, value in mine.items() if np.isfinite(value)}
    for name, value in _again(setup, found):
        if name in mine and abs(mine[name] - value) > AGREE * abs(value):
            msg = f"{name} of option {index} is {mine[name]!r} among all, and {value!r} alone"
            raise ArithmeticError(msg)
    return Row(
        index=index,
        choice={axis.name: p.label for axis, p in zip(space.axes, points, strict=True)},
        figures=mine,
        setup=setup,
        budget=found,
    )


def _again(setup: Setup, found: Budget) -> Iterator[tuple[str, float]]:
    """Give all figures of one setup, the deciding colour each."""
    speed_mm_s = setup.transport.speed_mm_s
    yield "speed_mm_s", speed_mm_s
    yield "area_rate_m2_s", speed_mm_s * found.number("geometry", "field_of_view_mm") / 1e6
    for group in found.groups.values():
        for name, value in group.items():
            if not isinstance(value, str):
                yield name, (min if name in _WEAKEST else max)(values(value))
