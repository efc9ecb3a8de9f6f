"""Which set-up at all: every option of a space judged in closed form, and the best of them."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.budget.detection import Search, search
from linesim.setup.arguments import refuse_other
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.study.detected import Signals, joined, seen_by, signals_of
from linesim.study.front import alike, front_of
from linesim.study.judged import DEMANDS, PASSED, Judged, at_most, judged
from linesim.study.rank_row import Row, checked_rows
from linesim.study.space import Space
from linesim.study.stations import Refused, Way, way_count, ways

Places = NDArray[np.intp]
Tell = Callable[[int, int], None]
KEPT = (
    "irradiance_target_w_m2",
    "speed_mm_s",
    "area_rate_m2_s",
    "field_of_view_mm",
    "object_pixel_x_um",
    "object_pixel_y_um",
    "line_rate_hz",
    "data_rate_mb_s",
    "exposure_us",
    "depth_of_field_mm",
    "electrons_white",
    "snr_white",
    "saturation_white",
)
"""Figures of every option; those of detection follow where the option is judged so far."""
TOP = 10
_SAME_DIGITS = 9
_SAME_SIZE_DIGITS = 4
"""What agrees in so many digits counts as equal; sizes are that much less exact."""
_DETECTION = DEMANDS.index("smallest_defect")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranking:
    """
    A space of set-ups, judged.

    Parameters
    ----------
    space : Space
        What may be chosen.
    figures : mapping
        Name -> one value an option; not a number where it was not worked out.
    size_name : str
        Of these, the size that is just found: of a disc, or the width of the scratch asked for.
    first : ndarray of int, shape (options,)
        Place among the demands of the first that is missed.
    margin : ndarray of shape (options,)
        By which share it is missed; 0 where none is.
    order : ndarray of int
        Options that pass: least light first, then most area a second, then the smallest size.
    front : ndarray of int
        Of these, those that no other beats in light, speed and size, in the same order.
    refused : mapping
        The door's sentence -> options that it refuses.
    rows : tuple of Row
        The best, each checked through the door.
    front_rows : tuple of Row
        Some of the front from end to end, checked likewise.
    nearest : Row or None
        Where nothing passes: the option that is missed last and by least.
    """

    space: Space
    figures: Mapping[str, FloatArray]
    size_name: str
    first: NDArray[np.int8]
    margin: FloatArray
    order: Places
    front: Places
    refused: Mapping[str, int]
    rows: tuple[Row, ...] = ()
    front_rows: tuple[Row, ...] = ()
    nearest: Row | None = None

    @property
    def misses(self) -> dict[str, int]:
        """Options that miss each demand first, in the order in which demands are judged."""
        counts = np.bincount(self.first, minlength=PASSED + 1)
        return {name: int(n) for name, n in zip(DEMANDS, counts, strict=False) if n}

    def least_missed(self, demand: str) -> float:
        """Give the margin of the option that misses a demand first, and by least."""
        return float(self.margin[self.first == DEMANDS.index(demand)].max())


def rank(space: Space, top: int = TOP, tell: Tell | None = None) -> Ranking:
    """
    Judge every option of a space, and rank those that meet all demands.

    Parameters
    ----------
    space : Space
        What may be chosen, as `load_space` reads it.
    top : int
        How many of the best, and of the front, go through the door to be shown.
    tell : callable, optional
        Is told how many combinations are done, and of how many.

    Returns
    -------
    Ranking
        Figures, the first demand that each option misses, the best and the front.

    Raises
    ------
    InputError
        Where no option at all is a legal setup.
    """
    refuse_other(space, Space, "space", "what load_space gives")
    wanted = search(space.base)
    size_name = "smallest_detectable_um" if wanted.shape == "disc" else "smallest_width_um"
    table = _Table.empty(space.count, (*KEPT, "defect_dprime", size_name))
    grids = _judge(space, table, tell)
    if not grids:
        why = "\n".join(dict.fromkeys(table.refused))
        msg = f"options: none of the {space.count} options is a legal setup: {why}"
        raise InputError(msg)
    _detect(grids, table, wanted, size_name)
    order = _ordered(np.flatnonzero(table.first == PASSED), table.figures, size_name)
    front = order[np.sort(front_of(_objectives(order, table.figures, size_name)))]
    nearest = _nearest(table) if order.size == 0 else order[:0]
    along = front[_even(len(front), top)]
    shown = np.unique(np.concatenate([order[:top], along, nearest]))
    rows = checked_rows(space, [way for way, _ in grids], shown, table.figures)
    return Ranking(
        space=space,
        figures=table.figures,
        size_name=size_name,
        first=table.first,
        margin=table.margin,
        order=order,
        front=front,
        refused=table.refused,
        rows=tuple(rows[int(k)] for k in order[:top]),
        front_rows=tuple(rows[int(k)] for k in along),
        nearest=rows[int(nearest[0])] if nearest.size else None,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Table:
    """What is filled in, way by way."""

    figures: dict[str, FloatArray]
    first: NDArray[np.int8]
    margin: FloatArray
    refused: dict[str, int]

    @classmethod
    def empty(cls, count: int, names: tuple[str, ...]) -> "_Table":
        """Give a table in which no option is a legal setup yet."""
        return cls(
            figures={name: np.full(count, np.nan) for name in names},
            first=np.zeros(count, dtype=np.int8),
            margin=np.full(count, -1.0),
            refused={},
        )


def _judge(space: Space, table: _Table, tell: Tell | None) -> list[tuple[Way, Judged]]:
    """Fill in everything but detection; give the ways that are legal."""
    found, count = [], way_count(space)
    for done, way in enumerate(ways(space), start=1):
        if isinstance(way, Refused):
            table.refused[way.why] = table.refused.get(way.why, 0) + way.index.size
        else:
            seen, index = judged(way, space.limits), way.index.ravel()
            for name in KEPT:
                table.figures[name][index] = np.broadcast_to(seen.figures[name], way.shape).ravel()
            table.first[index], table.margin[index] = seen.first.ravel(), seen.margin.ravel()
            found.append((way, seen))
        if tell is not None:
            tell(done, count)
    return found


def _detect(grids: list[tuple[Way, Judged]], table: _Table, wanted: Search, size_name: str) -> None:
    """Fill in detection for the options that meet all else."""
    parts = list(_left(grids, wanted))
    if not parts:
        return
    index = np.concatenate([places for places, _ in parts])
    seen = seen_by(joined([signals for _, signals in parts]), wanted)
    table.figures[size_name][index] = seen.smallest_um
    if seen.dprime is None or wanted.width_um is None:
        return
    table.figures["defect_dprime"][index] = seen.dprime
    missed = ~seen.met
    short = at_most("smallest_defect", seen.smallest_um, float(wanted.width_um)).margin
    table.first[index[missed]] = _DETECTION
    # a size right at the wanted one may lie on the other side of it by the table's own error
    table.margin[index[missed]] = np.minimum(short[missed], 0.0)


def _left(grids: list[tuple[Way, Judged]], wanted: Search) -> Iterator[tuple[Places, Signals]]:
    for way, seen in grids:
        flat = np.flatnonzero(seen.first.ravel() == PASSED)
        if flat.size:
            yield way.index.ravel()[flat], signals_of(way, flat, wanted)


def _ordered(passing: Places, figures: Mapping[str, FloatArray], size_name: str) -> Places:
    light, area, size = (
        alike(figures[name][passing], digits)
        for name, digits in (
            ("irradiance_target_w_m2", _SAME_DIGITS),
            ("area_rate_m2_s", _SAME_DIGITS),
            (size_name, _SAME_SIZE_DIGITS),
        )
    )
    return passing[np.lexsort((passing, size, -area, light))]


def _objectives(order: Places, figures: Mapping[str, FloatArray], size_name: str) -> FloatArray:
    """Give what the front is about, all to be small: light, speed with its sign turned, size."""
    light = alike(figures["irradiance_target_w_m2"][order], _SAME_DIGITS)
    speed = alike(figures["speed_mm_s"][order], _SAME_DIGITS)
    return np.stack([light, -speed, alike(figures[size_name][order], _SAME_SIZE_DIGITS)], axis=1)


def _even(count: int, most: int) -> Places:
    """Choose evenly from end to end, all where they are few."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.intp))


def _nearest(table: _Table) -> Places:
    """Find the option that is missed last, and by least; of equal ones the one of least light."""
    light = np.nan_to_num(table.figures["irradiance_target_w_m2"], nan=np.inf)
    legal = np.flatnonzero(table.first > 0)
    order = np.lexsort((light[legal], -table.margin[legal], -table.first[legal]))
    return legal[order[:1]]
