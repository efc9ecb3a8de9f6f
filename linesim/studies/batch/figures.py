"""
The closed-form figures of many setups at once.

Options are laid into arrays (`linesim.studies.batch.stations`), a row an option and a column a
colour, and the groups of `linesim.figures` take them as they take one station. Blocks go through in
threads, which change no figure. What a station does not tell, such as the working distance, is
worked out for each option.
"""

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from linesim.figures.budget import budget_on, geometry_of
from linesim.figures.detection import detection_group
from linesim.figures.groups import (
    ENDS,
    Group,
    camera_group,
    exposure_group,
    geometry_group,
    limits_group,
    lit_group,
)
from linesim.figures.places import with_ends
from linesim.figures.resolution import sharpness_group
from linesim.forward.geometry import Figure
from linesim.forward.station import station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.batch.space import Space
from linesim.studies.batch.station_arrays import Places, frame, joined
from linesim.studies.batch.stations import Block, Refused, blocks
from linesim.targets.load import target_size

Progress = Callable[[int, int], None]
"""Is told how many options are done, and of how many."""
Figures = dict[str, FloatArray]
COSTLY = "detection"
"""The group of figures that integrate over frequencies and search for sizes."""
TRAVEL = "travel"
"""The group of what a budget does not name: speed, and area in a second."""
OWN = "station"
"""The group of what a station has that no budget names: its length on the sensor, light in lux."""
_COSTLY_AT_ONCE = 128
_AT_ONCE = 16_384
_WORKERS = 4
_OF_ONE = frozenset(
    {
        "image_lines",
        "scan_length_mm",
        "working_distance_mm",
        "max_speed_mm_s",
        "misregistration_px",
        "misregistration_swing_px",
        "misregistration_x_px",
    }
)
"""Figures of the geometry that need more than a station."""


def nobody(_done: int, _total: int) -> None:
    """Tell nobody how far it is."""


def _own(block: Block) -> Group:
    place, lens = block.numbers.geometry, block.setup.lens
    focal_mm = np.nan if lens.focal_length_mm is None else lens.focal_length_mm
    efficacy = block.setup.light.spectrum.efficacy_lm_w
    return {
        "sensor_length_mm": place.pixels * place.pixel_width_um / 1000,
        "working_distance_mm": focal_mm * (1 + 1 / np.asarray(place.magnification)),
        "illuminance_lx": block.numbers.irradiance_w_m2 * efficacy,
    }


def _travel(block: Block) -> Group:
    place = block.numbers.geometry
    area_m2_s = place.speed_mm_s * place.field_of_view_mm / 1e6
    return {"speed_mm_s": place.speed_mm_s, "area_rate_m2_s": area_m2_s}


def _detection(block: Block, names: frozenset[str]) -> Group:
    return with_ends(
        block.numbers, block.wanted, lambda place, wanted: detection_group(place, wanted, names)
    )


def _lit(block: Block) -> Group:
    return with_ends(
        block.numbers, block.wanted, lambda place, wanted: lit_group(place, wanted.product)
    )


_GROUPS: dict[str, Callable[[Block], Group]] = {
    "geometry": lambda block: geometry_group(block.numbers, 1, block.able),
    "exposure": lambda block: exposure_group(block.numbers),
    "limits": lambda block: limits_group(block.numbers, block.able, block.wanted.brightest),
    "signal": _lit,
    "camera": lambda block: camera_group(block.numbers),
    "resolution": lambda block: sharpness_group(block.numbers),
    TRAVEL: _travel,
    OWN: _own,
}


def groups_of(setups: Iterable[Setup]) -> dict[str, str]:
    """Name every figure that one of some setups has a number for."""
    return {
        name: group
        for setup in setups
        for group, figures in budget_on(setup, target_size(setup)).groups.items()
        for name, value in figures.items()
        if not isinstance(value, str)
    }


def figures_of(
    space: Space, indices: Places, groups: Mapping[str, str], progress: Progress = nobody
) -> Figures:
    """
    Work figures out for options of a space, each as exactly as its own budget does.

    Parameters
    ----------
    indices : ndarray of int, shape (n,); which options
    groups : mapping; figure -> group, as `groups_of` has them

    Returns
    -------
    dict
        Figure -> array of shape (n, 1), or (n, 3) for one value a colour; not a number where the
        figure has no value.
    """
    cheap = {name: group for name, group in groups.items() if group != COSTLY}
    costly = {name: group for name, group in groups.items() if group == COSTLY}
    whole = list(_whole(space, indices))
    found: dict[str, list[tuple[Places, FloatArray]]] = {name: [] for name in groups}
    done = 0
    with ThreadPoolExecutor(min(_WORKERS, os.cpu_count() or 1)) as pool:
        tasks = [
            (rows[start : start + at_once], pool.submit(figures_on, some, asked))
            for asked, at_once in ((cheap, _AT_ONCE), (costly, _COSTLY_AT_ONCE))
            if asked
            for block, rows in whole
            for start in range(0, len(rows), at_once)
            for some in (block.some(slice(start, start + at_once)),)
        ]
        for rows, task in tasks:
            for name, values in task.result().items():
                found[name].append((rows, values))
            done += len(rows)
            progress(done, len(indices) * (bool(cheap) + bool(costly)))
    figures = {name: _in_rows(parts, len(indices)) for name, parts in found.items()}
    return figures | _one_by_one(space, indices, [name for name in groups if name in _OF_ONE])


def _whole(space: Space, indices: Places) -> Iterator[tuple[Block, Places]]:
    """Lay blocks that differ in numbers alone into one; give the rows of ``indices`` they hold."""
    alike: dict[object, list[Block]] = {}
    for block in blocks(space, indices):
        if isinstance(block, Refused):
            raise block.why
        if not block.possible.all():
            station(space.quick(int(block.index[~block.possible][0])))  # refuses it
        parts = (block.numbers, block.wanted, block.able)
        alike.setdefault(frame(parts), []).append(block)
    where = np.argsort(indices, kind="stable")
    for each in alike.values():
        one = each[0] if len(each) == 1 else _joined(each)
        rows = where[np.searchsorted(indices, one.index, sorter=where)]
        order = np.argsort(rows, kind="stable")
        yield (one if len(each) == 1 else one.some(order)), rows[order]


def _joined(parts: list[Block]) -> Block:
    counts = [len(part.index) for part in parts]
    return Block(
        setup=parts[0].setup,
        index=np.concatenate([part.index for part in parts]),
        numbers=joined([part.numbers for part in parts], counts),
        wanted=joined([part.wanted for part in parts], counts),
        able=joined([part.able for part in parts], counts),
        possible=np.concatenate([part.possible for part in parts]),
    )


def figures_on(block: Block, groups: Mapping[str, str]) -> Figures:
    """Work figures out for the options of a block, as `figures_of` gives them."""
    names = frozenset(name.removesuffix(ENDS) for name in groups)
    made = {
        group: _detection(block, names) if group == COSTLY else _GROUPS[group](block)
        for group in dict.fromkeys(groups.values())
    }
    nothing = np.full(1, np.nan)
    count = len(block.index)
    return {name: _rows(made[group].get(name, nothing), count) for name, group in groups.items()}


def _rows(values: Figure, count: int) -> FloatArray:
    """Give every option its row, and take infinities for no value."""
    array = np.atleast_2d(np.asarray(values, dtype=np.float64))
    rows = np.broadcast_to(array, (count, array.shape[1]))
    return np.where(np.isfinite(rows), rows, np.nan)


def _in_rows(parts: list[tuple[Places, FloatArray]], count: int) -> FloatArray:
    whole = np.full((count, max(values.shape[1] for _, values in parts)), np.nan)
    for rows, values in parts:
        whole[rows] = values
    return whole


def _one_by_one(space: Space, indices: Places, names: list[str]) -> Figures:
    """Work out what needs the setup itself; a figure that an option lacks is no number there."""
    if not names:
        return {}
    found = []
    for index in indices.tolist():
        setup = space.quick(index)
        found.append(geometry_of(setup, station(setup), target_size(setup)))
    rows = {name: [np.atleast_1d(each.get(name, np.nan)) for each in found] for name in names}
    return {name: _stacked(each) for name, each in rows.items()}


def _stacked(rows: list[FloatArray]) -> FloatArray:
    widest = max(map(len, rows))
    return np.array([np.broadcast_to(row, widest) for row in rows], dtype=np.float64)
