"""
Find the slanted edge that tells most in an image that holds other things as well.

Tiles of several sizes are ranked by how much they look like one straight slanted edge: by the
structure tensor, which sums products of the slopes. The best of each size are measured; what
`edge_response` refuses is out. The others are judged by the error to be expected, and the best ones
are moved onto the edge and grown as long as that makes them better.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.metrics.edge.figures import EdgeResponse, edge_response
from linesim.metrics.edge.line import Direction
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse

_CELL_PX = 16
_SIDES = (3, 6, 12, 24, 48)  # of a tile, in cells
_ASPECTS = ((1, 1), (2, 1), (1, 2))
# A tile that has more pixels costs seconds and tells little more.
_MOST_PX = 4_000_000
# Of each size so many tiles are measured that they hold no more pixels than this, two at least.
_BUDGET_PX = 600_000
_FEWEST_TILES, _MOST_TILES = 2, 8
_LEAST_COHERENCE = 0.5
_NOTHING = 1e-9
_LEAST_DEG, _MOST_DEG = 0.7, 42.0
_GROWN, _ROUNDS, _GROWTH = 3, 8, 1.5
# Error that light beyond the region's half-width X [px] brings: this over X, for the diffraction
# tails of a sharp lens (0.124 in the docstring of `edge_response`'s module, rounded).
_TAIL_PX = 0.12
_AS_GOOD = 1.3


class _Tensor(NamedTuple):
    """Sums of products of the slopes, over cells or tiles."""

    xx: FloatArray
    xy: FloatArray
    yy: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundEdge:
    """An edge in an image."""

    region: Region
    response: EdgeResponse
    tried: int
    usable: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeSearch:
    """What to look for, and in what."""

    image: NDArray[np.generic]  # shape (lines, width); one channel, linear in light
    # {"across", "along"} or None; axis nearest to the edge's normal; None: either
    direction: Direction | None = None
    # pitch of the samples along and across, in one length unit
    pixel_pitch: tuple[float, float] = (1.0, 1.0)
    limits: tuple[float, float] | None = None  # lowest and highest value that the image can hold

    def at(self, region: Region) -> EdgeResponse:
        """Measure one place."""
        return edge_response(
            region.cut(self.image),
            direction=self.direction,
            pixel_pitch=self.pixel_pitch,
            limits=self.limits,
        )


class _Judged(NamedTuple):
    """A place that could be measured, and the error to be expected of its curve."""

    error: float
    region: Region
    response: EdgeResponse


_Log = dict[Region, _Judged | str]
"""Places looked at; a text says why one is refused."""


def find_edge(search: EdgeSearch) -> FoundEdge:
    """Find the edge that can be measured best; the whole image, where no part does better."""
    log: _Log = {}
    first, *others = (_judged(search, region, log) for region in _candidates(search))
    usable = sorted((each for each in (first, *others) if isinstance(each, _Judged)), key=_order)
    if not usable:
        refuse(f"{first}; no other place does better ({len(log)} tried), or name one by its region")
    best = min((_grown(search, each, log) for each in usable[:_GROWN]), key=_order)
    if isinstance(first, _Judged) and first.error <= _AS_GOOD * best.error:
        best = first
    return FoundEdge(
        region=best.region,
        response=best.response,
        tried=len(log),
        usable=sum(isinstance(each, _Judged) for each in log.values()),
    )


def _order(judged: _Judged) -> tuple[float, str]:
    return judged.error, str(judged.region)


def _judged(search: EdgeSearch, region: Region, log: _Log) -> _Judged | str:
    """Measure a place, or tell why it is refused; no place twice."""
    if region not in log:
        try:
            seen = search.at(region)
        except InputError as refusal:
            log[region] = str(refusal)
        else:
            error = float(np.hypot(seen.mtf_noise, _TAIL_PX / seen.position_px[-1]))
            log[region] = _Judged(error, region, seen)
    return log[region]


def _grown(search: EdgeSearch, start: _Judged, log: _Log) -> _Judged:
    """Move a region onto its edge and make it larger while that makes the figures better."""
    best = start
    for _ in range(_ROUNDS):
        around = [_judged(search, each, log) for each in _proposals(best, search.image.shape)]
        better = min(
            (each for each in around if isinstance(each, _Judged)), key=_order, default=best
        )
        if not better.error < best.error:
            break
        best = better
    return best


def _proposals(judged: _Judged, shape: tuple[int, ...]) -> Iterator[Region]:
    """Name the same region centred on its edge, then larger to the sides, along it, and both."""
    region, seen = judged.region, judged.response
    line = seen.line
    row = 0.5 * (line.first_row + line.last_row)
    column = float(line.columns(np.array([row]))[0])
    across = seen.direction == "across"
    x, y = (column, row) if across else (row, column)
    for longer, wider in product((1.0, _GROWTH), repeat=2):
        tall, wide = (longer, wider) if across else (wider, longer)
        width, height = min(region.width * wide, shape[1]), min(region.height * tall, shape[0])
        left = min(max(region.x + x - width / 2, 0), shape[1] - width)
        top = min(max(region.y + y - height / 2, 0), shape[0] - height)
        if width * height <= _MOST_PX:
            yield Region(x=int(left), y=int(top), width=int(width), height=int(height))


def _candidates(search: EdgeSearch) -> list[Region]:
    """Name places to measure: the whole image first, then the likeliest tiles of each size."""
    shape = search.image.shape
    whole = Region.whole(shape)
    found = [whole] if whole.width * whole.height <= _MOST_PX else []
    cells = _cells(search)
    for side, (tall, wide) in product(_SIDES, _ASPECTS):
        rows, columns = side * tall, side * wide
        if rows <= cells.xx.shape[0] and columns <= cells.xx.shape[1]:
            found += _likeliest(search, cells, rows, columns)
    return found or [whole]


def _cells(search: EdgeSearch) -> _Tensor:
    """Sum the products of the slopes over cells, in physical units; blocks of lines save memory."""
    lines, width = (side // _CELL_PX for side in search.image.shape)
    along, across = search.pixel_pitch
    parts = []
    for first in range(0, lines, 64):
        last = min(first + 64, lines)
        block = search.image[first * _CELL_PX : last * _CELL_PX, : width * _CELL_PX]
        smooth = scipy.ndimage.uniform_filter(block.astype(np.float32), 5, mode="nearest")
        down, right = np.gradient(smooth)
        down, right = down / along, right / across
        grid = (last - first, _CELL_PX, width, _CELL_PX)
        products = (right * right, right * down, down * down)
        parts.append([each.reshape(grid).sum(axis=(1, 3), dtype=np.float64) for each in products])
    if not parts:
        return _Tensor(*np.zeros((3, 0, 0)))
    return _Tensor(*(np.concatenate(each) for each in zip(*parts, strict=True)))


def _likeliest(search: EdgeSearch, cells: _Tensor, rows: int, columns: int) -> list[Region]:
    """Rank the tiles of one size by how much one straight slanted edge there is in them."""
    steps = max(1, rows // 3), max(1, columns // 3)
    sums = _Tensor(*(_tile_sums(each, rows, columns)[:: steps[0], :: steps[1]] for each in cells))
    trace = np.maximum(sums.xx + sums.yy, 0.0)
    split = np.hypot(sums.xx - sums.yy, 2 * sums.xy)
    # a difference of running sums leaves rounding where there is nothing
    something = trace > _NOTHING * max(float(trace.max()), np.finfo(float).tiny)
    coherence = np.where(something, split / np.where(something, trace, 1.0), 0.0)
    normal_deg = np.degrees(0.5 * np.abs(np.arctan2(2 * sums.xy, sums.xx - sums.yy)))
    off_deg = np.minimum(normal_deg, 90.0 - normal_deg)
    fits = (coherence > _LEAST_COHERENCE) & (off_deg > _LEAST_DEG) & (off_deg < _MOST_DEG)
    if search.direction is not None:
        fits &= (normal_deg < 45.0) == (search.direction == "across")  # noqa: PLR2004 -- diagonal
    score = np.where(fits, trace * coherence**2, 0.0)
    area = rows * columns * _CELL_PX**2
    count = min(_MOST_TILES, max(_FEWEST_TILES, _BUDGET_PX // area))
    order = np.argsort(-score, axis=None, kind="stable")[:count]
    places = [np.unravel_index(int(k), score.shape) for k in order if score.flat[k] > 0]
    return [
        Region(
            x=int(place[1]) * steps[1] * _CELL_PX,
            y=int(place[0]) * steps[0] * _CELL_PX,
            width=columns * _CELL_PX,
            height=rows * _CELL_PX,
        )
        for place in places
    ]


def _tile_sums(cells: FloatArray, rows: int, columns: int) -> FloatArray:
    """Sum over all tiles of so many cells, by running sums."""
    total = np.zeros((cells.shape[0] + 1, cells.shape[1] + 1))
    total[1:, 1:] = cells.cumsum(axis=0).cumsum(axis=1)
    return np.asarray(
        total[rows:, columns:]
        - total[:-rows, columns:]
        - total[rows:, :-columns]
        + total[:-rows, :-columns]
    )
