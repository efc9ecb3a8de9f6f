"""All options of a space in one table: figures, and the first demand that each misses."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.figures.demands import demands
from linesim.figures.detection import Search
from linesim.figures.groups import ENDS
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.studies.batch.detected import Found, Signals, found_by, signals_of, together
from linesim.studies.batch.figures import COSTLY, TRAVEL, Progress, figures_of, figures_on, nobody
from linesim.studies.batch.judged import DEMANDS, PASSED, judged, weakest
from linesim.studies.batch.station_arrays import Places
from linesim.studies.batch.stations import Block, Refused, blocks
from linesim.studies.rank.space import Space

KEPT = {
    "irradiance_target_w_m2": "signal",
    "speed_mm_s": TRAVEL,
    "area_rate_m2_s": TRAVEL,
    "field_of_view_mm": "geometry",
    "object_pixel_x_um": "geometry",
    "object_pixel_y_um": "geometry",
    "line_rate_hz": "geometry",
    "data_rate_mb_s": "geometry",
    "exposure_us": "exposure",
    "depth_of_field_mm": "geometry",
    "electrons_white": "signal",
    "snr_white": "signal",
    "snr_product": "signal",
    "snr_product_ends": "signal",
    "saturation_white": "signal",
    "clipping_share": "limits",
}
"""
Figures of every option, each with its group; those of detection follow where the option meets all
that is judged before.
"""
DETECTION = DEMANDS.index("smallest_defect")
MOST_RELIEFS = 3_000
"""Options judged by a fault with relief."""
_AT_MOST = 1.005
"""Over the size wanted, that a size found may be where d' says yes: more than a table errs."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """What is filled in, block by block."""

    figures: dict[str, FloatArray]  # name -> one value an option
    first: NDArray[np.int8]  # place of the first demand that is missed
    margin: FloatArray  # by which share; 0 where none is
    refused: dict[str, int]  # the sentence of a refusal -> options that it refuses
    size_name: str  # of the size that is just found

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


def judge_all(space: Space, table: Table, progress: Progress = nobody) -> None:
    """Fill in everything but detection."""
    done = 0
    for block in blocks(space, np.arange(space.count)):
        if isinstance(block, Refused):
            why = block.why.faults[0]
            table.refused[why] = table.refused.get(why, 0) + block.index.size
        else:
            _judge(block, space, table)
        done += block.index.size
        progress(done, space.count)


def _judge(block: Block, space: Space, table: Table) -> None:
    cheap = (each for each in demands(block.setup) if each.group != COSTLY)
    asked = (*space.limits, *cheap)
    groups = KEPT | {name: demand.group for demand in asked for name in demand.figures}
    figures = figures_on(block, groups)
    for name in KEPT:
        table.figures[name][block.index] = weakest(name, figures[name])
    found = judged(figures, asked, block.possible)
    table.first[block.index], table.margin[block.index] = found.first, found.margin


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Left:
    """Options of one block that are still in question, at one place of the line."""

    index: Places
    wanted: Search
    signals: Signals
    places: tuple[str, ...]


def detect_all(space: Space, table: Table) -> None:
    """Fill in detection for the options that meet all else."""
    if space.base.requirement.defect_relief is not None:
        _detect_relief(space, table)
        return
    by_texture: dict[object, list[_Left]] = {}
    for part in _left(space, table):
        by_texture.setdefault(part.wanted.texture, []).append(part)
    missed = np.zeros(table.first.shape, dtype=np.bool_)
    for parts in by_texture.values():
        found = found_by(together([part.signals for part in parts]), parts[0].wanted)
        starts = np.cumsum([0, *(len(part.index) for part in parts)])
        for part, start, end in zip(parts, starts[:-1], starts[1:], strict=True):
            for place in part.places:
                _put(table, part.index, place, found, slice(start, end))
            missed[part.index] |= ~found.met[start:end]
    _miss(space, table, missed)


def _detect_relief(space: Space, table: Table) -> None:
    """Fill in what is seen of a fault with relief, which each lamp shows anew."""
    left = np.flatnonzero(table.first == PASSED)
    if left.size > MOST_RELIEFS:
        refuse(
            f"requirement.defect_relief: read with {left.size} options that meet all else, each of "
            f"which takes some 50 ms; expected at most {MOST_RELIEFS}: fewer options, or narrower "
            "limits"
        )
    names = ("defect_dprime", table.size_name)
    asked = {name + end: COSTLY for name in names for end in ("", ENDS)}
    figures = figures_of(space, left, asked)
    for name in asked:
        table.figures[name][left] = weakest(name, figures[name])
    _miss(space, table, np.zeros(table.first.shape, dtype=np.bool_))


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


def _left(space: Space, table: Table) -> Iterator[_Left]:
    for block in blocks(space, np.flatnonzero(table.first == PASSED)):
        if isinstance(block, Block):
            for ends in (False,) if block.even else (False, True):
                yield _Left(
                    index=block.index,
                    wanted=block.wanted,
                    signals=signals_of(block, ends=ends),
                    places=("", ENDS) if block.even else (ENDS,) if ends else ("",),
                )
