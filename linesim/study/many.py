"""
The closed-form figures of many setups at once.

The stations of all points are laid into one `Station` of arrays, a row a point and a column a
colour; numbers that all points share stay numbers. The groups of `linesim.budget` then take them
as they take one station. Points go through in blocks of a fixed size, so that memory stays bounded,
in threads, which change no figure. What the budget adds to a single setup alone, such as the lines
of its target, is taken from the budget of each point.
"""

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, is_dataclass, replace
from itertools import islice
from typing import Any, TypeVar, cast

import numpy as np

from linesim.budget.budget import Budget, budget_on
from linesim.budget.detection import detection_group, search
from linesim.budget.figures import (
    Group,
    camera_group,
    exposure_group,
    geometry_group,
    signal_group,
)
from linesim.budget.resolution import resolution_group
from linesim.forward.station import Station, station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.targets.load import target_size

Tell = Callable[[int, int], None]
"""Is told how many points are done, and of how many."""
Part = TypeVar("Part")
_BLOCK = 128
_WORKERS = 4
_OF_ONE = frozenset({"image_lines", "scan_length_mm", "data_rate_mb_s"})
"""Figures that need more than a station: the target's length, the number of colours."""
_GROUPS: dict[str, Callable[[Station, Sequence[Setup]], Group]] = {
    "geometry": lambda numbers, setups: geometry_group(
        numbers, 1, stacked([setup.camera.bit_depth for setup in setups])
    ),
    "exposure": lambda numbers, _: exposure_group(numbers),
    "signal": lambda numbers, _: signal_group(numbers),
    "camera": lambda numbers, _: camera_group(numbers),
    "resolution": lambda numbers, _: resolution_group(numbers),
    "detection": lambda numbers, setups: detection_group(
        numbers, stacked([search(setup) for setup in setups])
    ),
}


def stacked(parts: Sequence[Part]) -> Part:
    """
    Lay equal things into one whose numbers are columns of them all.

    Parameters
    ----------
    parts : sequence
        Numbers, arrays of one value a colour, tuples or dataclasses of them; at least one.

    Returns
    -------
    same type
        A number that all share stays one; others are of shape (parts, 1), or (parts, 3) where there
        is one a colour. Words and what is missing are those of the first.
    """
    first: Any = parts[0]
    if is_dataclass(first):
        names = [each.name for each in fields(first)]
        changes = {name: stacked([getattr(part, name) for part in parts]) for name in names}
        return cast("Part", replace(cast("Any", first), **changes))
    if isinstance(first, tuple):
        of_tuples: Any = zip(*cast("Any", parts), strict=True)
        return cast("Part", tuple(map(stacked, of_tuples)))
    if first is None or isinstance(first, str):
        return cast("Part", first)
    columns = np.array(parts, dtype=np.float64).reshape(len(parts), -1)
    return cast("Part", first if np.all(columns == columns[0]) else columns)


def groups_of(setups: Iterable[Setup]) -> dict[str, str]:
    """
    Name every figure that one of some setups has a number for.

    Parameters
    ----------
    setups : iterable of Setup
        The stations; one without light lacks some figures.

    Returns
    -------
    dict
        Figure -> group.

    Raises
    ------
    InputError
        Where a setup cannot be run.
    """
    return {
        name: group
        for setup in setups
        for group, figures in budget_on(setup, target_size(setup)).groups.items()
        for name, value in figures.items()
        if not isinstance(value, str)
    }


def figures_of(
    points: Iterable[Setup], groups: Mapping[str, str], count: int, tell: Tell
) -> dict[str, FloatArray]:
    """
    Work figures out for many setups.

    Parameters
    ----------
    points : iterable of Setup
        The stations.
    groups : mapping
        Figure -> group, as `groups_of` has them.
    count : int
        Of the points.
    tell : callable
        Is told how far it is.

    Returns
    -------
    dict
        Figure -> array of shape (points, 1), or (points, 3) for one value a colour; not a number
        where the figure has no value.

    Raises
    ------
    InputError
        Where a point cannot be run.
    """
    source = iter(points)
    blocks = iter(lambda: list(islice(source, _BLOCK)), [])
    found, done = [], 0
    with ThreadPoolExecutor(min(_WORKERS, os.cpu_count() or 1)) as pool:
        # points are made here, one block after the other; figures are worked out in the threads
        for each in [pool.submit(_block, block, groups) for block in blocks]:
            found.append(each.result())
            done += len(next(iter(found[-1].values())))
            tell(done, count)
    return {name: np.concatenate([each[name] for each in found]) for name in groups}


def _block(setups: list[Setup], groups: Mapping[str, str]) -> dict[str, FloatArray]:
    numbers = stacked([station(setup) for setup in setups])
    fast = {name: group for name, group in groups.items() if name not in _OF_ONE}
    made = {group: _GROUPS[group](numbers, setups) for group in dict.fromkeys(fast.values())}
    figures = {name: made[group][name] for name, group in fast.items() if name in made[group]}
    rest = {name: group for name, group in groups.items() if name not in figures}
    if rest:
        figures |= _one_by_one(setups, rest)
    return {name: _columns(figures[name], len(setups)) for name in groups}


def _columns(values: Any, count: int) -> FloatArray:  # noqa: ANN401 -- a number or an array
    """Give every point its row, and take infinities for no value."""
    array = np.atleast_2d(np.asarray(values, dtype=np.float64))
    rows = np.broadcast_to(array, (count, array.shape[1]))
    return np.where(np.isfinite(rows), rows, np.nan)


def _one_by_one(setups: list[Setup], groups: Mapping[str, str]) -> dict[str, FloatArray]:
    budgets = [budget_on(setup, target_size(setup)) for setup in setups]
    return {name: _rows(budgets, group, name) for name, group in groups.items()}


def _rows(budgets: list[Budget], group: str, name: str) -> FloatArray:
    """Take one figure out of all budgets; where one has none, it is no number."""
    given = [each.groups[group].get(name, np.nan) for each in budgets]
    rows = [
        np.array(list(value.values()) if isinstance(value, dict) else [value]) for value in given
    ]
    colours = max(map(len, rows))
    return np.array([np.broadcast_to(row, colours) for row in rows], dtype=np.float64)
