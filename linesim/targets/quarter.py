"""Pixels of a quarter of a tile, in which all shapes lie, and those that a shape may touch."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray, ImageArray

Indices = NDArray[np.intp]
Pixels = tuple[Indices, Indices]
Where = tuple[slice, slice] | Pixels
"""Rows and columns of a block of pixels, or of single ones."""
Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Quarter:
    """A block of pixels within a quarter of a tile."""

    u_mm: ImageArray  # shape (columns,); distances from the tile's middle, in rising order
    v_mm: ImageArray  # shape (rows,); those of the rows, in any order
    pixel_mm: float
    # first row and column, where it is a part of a larger block
    top: int = 0
    left: int = 0

    @property
    def where(self) -> Where:
        """All its pixels, in the larger block."""
        rows, columns = self.v_mm.size, self.u_mm.size
        return slice(self.top, self.top + rows), slice(self.left, self.left + columns)

    @property
    def grid(self) -> tuple[ImageArray, ImageArray]:
        """Distances of its pixels, across and along, that broadcast. [mm]."""
        return self.u_mm[None], self.v_mm[:, None]

    def at(self, where: Where) -> tuple[ImageArray, ImageArray]:
        """Distances of some of its pixels, across and along. [mm]."""
        return self.u_mm[where[1]], self.v_mm[where[0]]

    def out(self, where: Pixels) -> Where:
        """Count some of its pixels in the larger block."""
        return where[0] + self.top, where[1] + self.left

    def near(self, across: Point, along: Point) -> "Quarter | None":
        """Cut it down to what is in a box, if there is any."""
        begin = int(np.searchsorted(self.u_mm, np.float32(across[0]), "left"))
        end = int(np.searchsorted(self.u_mm, np.float32(across[1]), "right"))
        met = np.flatnonzero((self.v_mm >= along[0]) & (self.v_mm <= along[1]))
        if begin >= end or not met.size:
            return None
        start, stop = int(met[0]), int(met[-1]) + 1
        return replace(
            self,
            u_mm=self.u_mm[begin:end],
            v_mm=self.v_mm[start:stop],
            top=self.top + start,
            left=self.left + begin,
        )

    def about(self, middle: Point, reach_mm: float) -> "Quarter | None":
        """Cut it down to what is about a point."""
        (x, y), reach = middle, reach_mm
        return self.near((x - reach, x + reach), (y - reach, y + reach))

    def within(self, middle: Point, radius_mm: float) -> NDArray[np.bool_]:
        """Tell which pixels are within a radius of a point."""
        starts, stops = self._chords(middle, radius_mm)
        columns = np.arange(self.u_mm.size, dtype=np.int32)
        found: NDArray[np.bool_] = columns >= starts[:, None]
        found &= columns < stops[:, None]
        return found

    def between(self, middle: Point, least_mm: float, most_mm: float) -> Pixels:
        """Find the pixels that are between two distances from a point."""
        outer, inner = self._chords(middle, most_mm), self._chords(middle, least_mm)
        starts = np.concatenate([outer[0], inner[1]])
        counts = np.concatenate([inner[0], outer[1]]) - starts
        rows = np.tile(np.arange(self.v_mm.size), 2)
        before = np.cumsum(counts) - counts
        columns = np.arange(counts.sum()) - np.repeat(before - starts, counts)
        return np.repeat(rows, counts), columns

    def _chords(self, middle: Point, radius_mm: float) -> tuple[NDArray[np.int32], ...]:
        """Give the columns between which each row is within a radius of a point."""
        reach2: FloatArray = max(radius_mm, 0.0) ** 2 - (self.v_mm - middle[1]).astype(float) ** 2
        reach_mm = np.sqrt(np.maximum(reach2, 0))
        ends = (np.searchsorted(self.u_mm, middle[0] + side * reach_mm) for side in (-1, 1))
        return tuple(each.astype(np.int32) for each in ends)
