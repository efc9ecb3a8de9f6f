"""All options of a space in one table: figures, and the first demand that each misses."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.figures.demands import demands
from linesim.figures.detection import Search
from linesim.figures.groups import ENDS
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.detected import Found, Signals, found_by, joined, signals_of
from linesim.studies.batch.judged import DEMANDS, PASSED, Judged, judged
from linesim.studies.batch.stations import Refused, Way, way_count, ways
from linesim.studies.rank.space import Space

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
    "snr_product",
    "snr_product_ends",
    "saturation_white",
    "clipping_share",
)
"""Figures of every option; those of detection follow where the option is judged so far."""
DETECTION = DEMANDS.index("smallest_defect")
_AT_MOST = 1.005
"""Over the size wanted, that a size found may be where d' says yes: more than a table errs."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """
    What is filled in, way by way.

    Parameters
    ----------
    figures : dict
        Name -> one value an option.
    first : ndarray of int
        Place of the first demand that is missed.
    margin : ndarray
        By which share; 0 where none is.
    refused : dict
        The door's sentence -> options that it refuses.
    size_name : str
        Of the size that is just found.
    """

    figures: dict[str, FloatArray]
    first: NDArray[np.int8]
    margin: FloatArray
    refused: dict[str, int]
    size_name: str

    @classmethod
    def empty(cls, count: int, size_name: str) -> "Table":
        """Give a table in which no option is a legal setup yet."""
        found = ("defect_dprime", size_name)
        names = (*KEPT, *found, *(name + ENDS for name in found))
        return cls(
            figures={name: np.full(count, np.nan) for name in names},
            first=np.zeros(count, dtype=np.int8),
            margin=np.full(count, -1.0),
            refused={},
            size_name=size_name,
        )

    @property
    def size_um(self) -> FloatArray:
        """Size that is just found at the worst place of the line. [µm]."""
        return worst_size_um(self.figures, self.size_name)


def worst_size_um(figures: Mapping[str, FloatArray], size_name: str) -> FloatArray:
    """Give the size that is just found at the worst place of the line."""
    return np.maximum(figures[size_name], figures[size_name + ENDS])


def judge_all(space: Space, table: Table, tell: Tell | None) -> list[tuple[Way, Judged]]:
    """Fill in everything but detection."""
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Left:
    """Options of one way that are still in question, at one place of the line."""

    index: Places
    wanted: Search
    signals: Signals
    places: tuple[str, ...]


def detect_all(space: Space, grids: list[tuple[Way, Judged]], table: Table) -> None:
    """Fill in detection for the options that meet all else."""
    by_texture: dict[object, list[_Left]] = {}
    for part in _left(grids):
        by_texture.setdefault(part.wanted.texture, []).append(part)
    missed = np.zeros(table.first.shape, dtype=np.bool_)
    for parts in by_texture.values():
        found = found_by(joined([part.signals for part in parts]), parts[0].wanted)
        starts = np.cumsum([0, *(len(part.index) for part in parts)])
        for part, start, end in zip(parts, starts[:-1], starts[1:], strict=True):
            for place in part.places:
                _put(table, part.index, place, found, slice(start, end))
            missed[part.index] |= ~found.met[start:end]
    _miss(space, table, missed)


def _miss(space: Space, table: Table, missed: NDArray[np.bool_]) -> None:
    """Count what does not find the smallest defect as having missed that demand."""
    for demand in demands(space.base):
        if demand.requirement == "smallest_defect":
            # where d' does not rise steadily with the size, the size itself may say no
            short = missed | (demand.spare(table.size_um / _AT_MOST) < 0)
            short &= table.first == PASSED
            table.first[short] = DETECTION
            # a size right at the wanted one may lie on the other side of it by the table's error
            table.margin[short] = np.minimum(demand.margin(table.size_um[short]), 0.0)


def _put(table: Table, index: Places, place: str, found: Found, part: slice) -> None:
    table.figures[table.size_name + place][index] = found.smallest_um[part]
    if found.dprime is not None:
        table.figures["defect_dprime" + place][index] = found.dprime[part]


def _left(grids: list[tuple[Way, Judged]]) -> Iterator[_Left]:
    for way, seen in grids:
        flat = np.flatnonzero(seen.first.ravel() == PASSED)
        for ends in (False,) if way.even else (False, True):
            if flat.size:
                yield _Left(
                    index=way.index.ravel()[flat],
                    wanted=way.wanted,
                    signals=signals_of(way, flat, ends=ends),
                    places=("", ENDS) if way.even else (ENDS,) if ends else ("",),
                )
