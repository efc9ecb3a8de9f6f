"""
The closed-form figures of many setups at once.

The stations of all points are laid into one `Station` of arrays, a row a point and a column a
colour; numbers that all points share stay numbers. The groups of `linesim.budget` then take them
as they take one station. Points go through in blocks of a fixed size, so that memory stays bounded,
in threads, which change no figure. What a station does not tell, such as the working distance, is
worked out for each point.
"""

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cached_property
from itertools import islice
from typing import Any, TypeVar, cast

import numpy as np

from linesim.figures.budget import budget_on, geometry_of, scan_lines
from linesim.figures.detection import Search, detection_group, search
from linesim.figures.groups import (
    ENDS,
    Group,
    Reach,
    camera_group,
    exposure_group,
    geometry_group,
    limits_group,
    lit_group,
    reach,
)
from linesim.figures.places import with_ends
from linesim.figures.resolution import resolution_group
from linesim.forward.station import Station, station
from linesim.metrics.detection.texture import MeasuredTexture, Table
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.targets.load import target_size

Tell = Callable[[int, int], None]
"""Is told how many points are done, and of how many."""
Part = TypeVar("Part")
_BLOCK = 128
_WORKERS = 4
_OF_ONE = frozenset(
    {
        "working_distance_mm",
        "max_speed_mm_s",
        "misregistration_px",
        "misregistration_swing_px",
    }
)
"""Figures of the geometry that need more than a station."""


@dataclass(frozen=True, kw_only=True)
class _Block:
    """Some points: each as a setup and in numbers, what all ask, and which figures are needed."""

    setups: list[Setup]
    each: list[Station]
    names: frozenset[str]

    @cached_property
    def numbers(self) -> Station:
        return stacked(self.each)

    @cached_property
    def reach(self) -> Reach:
        return stacked([reach(setup) for setup in self.setups])

    @cached_property
    def wanted(self) -> list[Search]:
        return [search(setup, target_size(setup)) for setup in self.setups]

    @property
    def lines(self) -> FloatArray:
        pairs = zip(self.setups, self.each, strict=True)
        return np.array([[scan_lines(setup, one, target_size(setup))] for setup, one in pairs])


def _detection(block: _Block) -> Group:
    """Give the figures of detection; points that lie on different textures one by one."""
    if _one_texture(block.wanted):
        wanted = stacked(block.wanted)
        return with_ends(block.numbers, lambda place: detection_group(place, wanted, block.names))
    pairs = zip(block.each, block.wanted, strict=True)
    found = [
        with_ends(one, lambda place, mine=mine: detection_group(place, mine, block.names))  # type: ignore[misc]
        for one, mine in pairs
    ]
    return {name: stacked([group[name] for group in found]) for name in found[0]}


def _one_texture(wanted: list[Search]) -> bool:
    """Tell whether the tables of measured textures are all alike."""
    found = [each.texture for each in wanted]
    tables = [each.table.power for each in found if isinstance(each, MeasuredTexture)]
    return all(each is tables[0] or np.array_equal(each, tables[0]) for each in tables)


_GROUPS: dict[str, Callable[[_Block], Group]] = {
    "geometry": lambda block: geometry_group(block.numbers, block.lines, block.reach),
    "exposure": lambda block: exposure_group(block.numbers),
    "limits": lambda block: limits_group(
        block.numbers, block.reach, stacked([each.brightest for each in block.wanted])
    ),
    "signal": lambda block: with_ends(
        block.numbers,
        lambda place: lit_group(place, stacked([each.product for each in block.wanted])),
    ),
    "camera": lambda block: camera_group(block.numbers),
    "resolution": lambda block: resolution_group(block.numbers),
    "detection": _detection,
}


def stacked(parts: Sequence[Part]) -> Part:
    """Lay equal things into one whose numbers are columns of them all."""
    first: Any = parts[0]
    if is_dataclass(first):
        names = [each.name for each in fields(first)]
        changes = {name: stacked([getattr(part, name) for part in parts]) for name in names}
        return cast("Part", replace(cast("Any", first), **changes))
    if isinstance(first, tuple):
        of_tuples: Any = zip(*cast("Any", parts), strict=True)
        return cast("Part", tuple(map(stacked, of_tuples)))
    if first is None or isinstance(first, str | Table):
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
    block = _Block(
        setups=setups,
        each=[station(setup) for setup in setups],
        names=frozenset(name.removesuffix(ENDS) for name in groups),
    )
    made = {group: _GROUPS[group](block) for group in dict.fromkeys(groups.values())}
    figures = {name: made[group][name] for name, group in groups.items() if name in made[group]}
    if not _OF_ONE.isdisjoint(groups):
        figures |= _one_by_one(block, [name for name in groups if name in _OF_ONE])
    nothing = np.full(1, np.nan)
    return {name: _columns(figures.get(name, nothing), len(setups)) for name in groups}


def _columns(values: Any, count: int) -> FloatArray:  # noqa: ANN401 -- a number or an array
    """Give every point its row, and take infinities for no value."""
    array = np.atleast_2d(np.asarray(values, dtype=np.float64))
    rows = np.broadcast_to(array, (count, array.shape[1]))
    return np.where(np.isfinite(rows), rows, np.nan)


def _one_by_one(block: _Block, names: Sequence[str]) -> dict[str, FloatArray]:
    """Work out what needs the setup itself; a figure that a point lacks is no number there."""
    pairs = zip(block.setups, block.each, strict=True)
    found = [geometry_of(setup, one, target_size(setup)) for setup, one in pairs]
    rows = {name: [np.atleast_1d(each.get(name, np.nan)) for each in found] for name in names}
    widest = {name: max(map(len, each)) for name, each in rows.items()}
    return {
        name: np.array([np.broadcast_to(row, widest[name]) for row in each], dtype=np.float64)
        for name, each in rows.items()
    }
