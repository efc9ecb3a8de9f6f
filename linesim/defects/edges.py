"""
The share of each pixel that a closed outline covers, exact for straight edges.

By Green's theorem the covered area of a pixel is a sum over the edges alone. An edge is cut where
it leaves a pixel; a piece that climbs by -dy counts in its own pixel with the area on its right,
and with its whole climb in every pixel further right. So outlines add: a hole is an outline of
weight -1, a soft rim the mean of many nested outlines, and the arcs that bound a union of discs
need not even be joined up.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.defects.window import Window
from linesim.setup.arrays import FloatArray, ImageArray

_ROUNDING = 1e-9  # sums of some 10⁴ pieces are rounded to 1e-12; less than this is nothing

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Edges:
    """Straight edges around covered areas."""

    # shape (n, 2); where each starts and ends, across travel and along it. Area lies on the side
    # that makes x dy - y dx positive around it [µm]
    x_um: FloatArray
    y_um: FloatArray
    weights: FloatArray  # shape (n,); share by which what they enclose counts

    @property
    def area_um2(self) -> float:
        """Enclosed area, each part by its weight. [µm²]."""
        doubled = self.x_um[:, 0] * self.y_um[:, 1] - self.x_um[:, 1] * self.y_um[:, 0]
        return float(self.weights @ doubled) / 2

    @property
    def bounds_um(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom. [µm]."""
        x, y = self.x_um, self.y_um
        return float(x.min()), float(y.min()), float(x.max()), float(y.max())

    def weighted(self, ratio: float) -> "Edges":
        """Count what they enclose by so much more or less."""
        return Edges(x_um=self.x_um, y_um=self.y_um, weights=self.weights * ratio)

    def spread(self, scale: float) -> "Edges":
        """Draw them larger, about their origin."""
        return Edges(x_um=self.x_um * scale, y_um=self.y_um * scale, weights=self.weights)


def closed(x_um: FloatArray, y_um: FloatArray) -> Edges:
    """Close an outline."""
    ends_x, ends_y = (np.stack([part, np.roll(part, -1)], axis=1) for part in (x_um, y_um))
    edges = Edges(x_um=ends_x, y_um=ends_y, weights=np.ones(len(x_um)))
    return edges.weighted(-1.0) if edges.area_um2 < 0 else edges


def nested(x_um: FloatArray, y_um: FloatArray, weights: FloatArray) -> Edges:
    """Close outlines of as many corners each, one a row, all around the same way."""
    ends_x, ends_y = (
        np.stack([part, np.roll(part, -1, axis=1)], axis=2).reshape(-1, 2) for part in (x_um, y_um)
    )
    edges = Edges(x_um=ends_x, y_um=ends_y, weights=np.repeat(weights, x_um.shape[1]))
    return edges.weighted(-1.0) if edges.area_um2 < 0 else edges


def joined(parts: Sequence[Edges]) -> Edges:
    """Count several outlines together."""
    return Edges(
        x_um=np.concatenate([part.x_um for part in parts]),
        y_um=np.concatenate([part.y_um for part in parts]),
        weights=np.concatenate([part.weights for part in parts]),
    )


def covered(edges: Edges, window: Window) -> ImageArray:
    """Give the share of each pixel that is covered."""
    rows, columns = window.shape
    pitch_um = window.grid.pixel_size_um
    x = edges.x_um / pitch_um + (window.grid.columns / 2 - window.left)
    y = edges.y_um / pitch_um
    near = (y.max(axis=1) > window.top) & (y.min(axis=1) < window.bottom)
    owner, ends_x, ends_y = _pieces(x[near], y[near], (window.top, window.bottom), (0, columns))
    climb = edges.weights[near][owner] * (ends_y[:, 0] - ends_y[:, 1])
    share = np.cumsum(_steps(ends_x, ends_y - window.top, climb, (rows, columns)), axis=1)
    share[share < _ROUNDING] = 0
    share[share > 1 - _ROUNDING] = 1
    return share.astype(np.float32)


def _steps(
    ends_x: FloatArray, ends_y: FloatArray, climb: FloatArray, shape: tuple[int, int]
) -> FloatArray:
    """Sum up by how much the share grows from one column to the next."""
    rows, columns = shape
    middle = ends_x.mean(axis=1)
    row = np.floor(ends_y.mean(axis=1)).astype(np.intp)
    kept = (row >= 0) & (row < rows) & (middle < columns)
    # left of the window an edge counts as one on its border
    middle, row, climb = np.maximum(middle[kept], 0), row[kept], climb[kept]
    column = np.floor(middle).astype(np.intp)
    place = row * (columns + 1) + column
    late = climb * (middle - column)
    size = rows * (columns + 1)
    steps = np.bincount(place, climb - late, size) + np.bincount(place + 1, late, size)
    return np.asarray(steps.reshape(rows, columns + 1)[:, :columns])


def _pieces(
    x: FloatArray, y: FloatArray, rows: tuple[int, int], columns: tuple[int, int]
) -> tuple[Indices, FloatArray, FloatArray]:
    """Cut edges at all pixel borders: which edge each piece is of, and its ends."""
    cuts = [_cuts(y, *rows), _cuts(x, *columns)]
    count = len(x)
    ends = np.arange(count)
    owner = np.concatenate([ends, cuts[0][0], cuts[1][0], ends])
    place = np.concatenate([np.zeros(count), cuts[0][1], cuts[1][1], np.ones(count)])
    order = np.lexsort((place, owner))
    owner, place = owner[order], place[order]
    at_x = x[owner, 0] + place * (x[owner, 1] - x[owner, 0])
    at_y = y[owner, 0] + place * (y[owner, 1] - y[owner, 0])
    same = np.flatnonzero(owner[1:] == owner[:-1])
    after = same + 1
    return (
        owner[same],
        np.stack([at_x[same], at_x[after]], axis=1),
        np.stack([at_y[same], at_y[after]], axis=1),
    )


def _cuts(ends: FloatArray, first: int, last: int) -> tuple[Indices, FloatArray]:
    """Find where edges cross whole numbers from ``first`` to ``last``: which edge, and how far."""
    low, high = ends.min(axis=1), ends.max(axis=1)
    begin = np.maximum(np.floor(low).astype(np.intp) + 1, first)
    count = np.maximum(np.minimum(np.ceil(high).astype(np.intp) - 1, last) - begin + 1, 0)
    owner = np.repeat(np.arange(len(ends)), count)
    level = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + begin[owner]
    return owner, (level - ends[owner, 0]) / (ends[owner, 1] - ends[owner, 0])
