"""A reference that is computed row by row from a formula, so that its length costs no memory."""

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import ceil, isfinite
from typing import Protocol, runtime_checkable

import numpy as np

from linesim.forward.reference import Reference
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError, refuse

AT_ONCE = 1 << 19
"""Pixels of a scene that are painted together, so that they stay near the processor."""
_LEAST_ROWS = 32
_TURNS = 4
"""Blocks that each thread draws, so that none waits long for the last."""
Rows = Callable[[int, int], ImageArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """
    The pixel grid of a target.

    Row 0 meets the camera first; column 0 is at the left. Pixel ``j`` reaches from ``j`` to
    ``j + 1`` when positions are counted in pixels from the upper left corner of the target.
    """

    pixel_size_um: float  # side of one square pixel on the target
    rows: int
    columns: int

    @property
    def pixel_mm(self) -> float:
        """Side of one square pixel. [mm]."""
        return self.pixel_size_um / 1000

    @property
    def width_mm(self) -> float:
        """Size across travel, in whole pixels. [mm]."""
        return self.columns * self.pixel_mm

    @property
    def height_mm(self) -> float:
        """Size along travel, in whole pixels. [mm]."""
        return self.rows * self.pixel_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Painted:
    """
    A reference whose rows are computed when they are asked for.

    All of them together, or where there is much to compute, some pixels at a time.
    """

    grid: Grid
    paint: Rows
    channels: tuple[int, ...] = ()  # (3,) of a colour target
    at_once: int | None = None

    @property
    def pixel_size_um(self) -> float:
        """Side of one square reference pixel on the target. [µm]."""
        return self.grid.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns) or (rows, columns, 3)."""
        return self.grid.rows, self.grid.columns, *self.channels

    def rows(self, first: int, last: int) -> ImageArray:
        """Compute some rows."""
        return self._some(self.paint, first, last)

    def _some(self, rows: Rows, first: int, last: int) -> ImageArray:
        start, stop, _ = slice(first, last).indices(self.shape[0])
        step = max(_LEAST_ROWS, (self.at_once or 0) // self.shape[1])
        if self.at_once is None or stop - start <= step:
            return rows(start, max(start, stop))
        return _joined(rows, (start, stop), step, map)


Each = Callable[[Callable[[int], None], Iterable[int]], Iterable[None]]


def _joined(
    rows: Rows, ends: tuple[int, int], step: int, each: Each, head: ImageArray | None = None
) -> ImageArray:
    """Put rows together that are computed a few at a time, the first of them perhaps by now."""
    first, last = ends
    if head is None:
        head = rows(first, min(first + step, last))
    joined = np.empty((last - first, *head.shape[1:]), dtype=head.dtype)
    joined[: len(head)] = head

    def fill(low: int) -> None:
        high = min(low + step, last)
        joined[low - first : high - first] = rows(low, high)

    for _ in each(fill, range(first + len(head), last, step)):
        pass
    return joined


def all_rows(
    rows: Rows, count: int, threads: int | None = None, head: ImageArray | None = None
) -> ImageArray:
    """
    Compute all rows of a target that is to be held, in threads; its first rows may be at hand.

    Bytes are the same whatever the number of threads, left out: one a processor.
    """
    threads = threads or os.cpu_count() or 1
    step = max(_LEAST_ROWS, ceil(count / (_TURNS * threads)))
    if threads == 1 or count <= step:
        return rows(0, count)
    with ThreadPoolExecutor(threads) as pool:
        return _joined(rows, (0, count), step, pool.map, head)


@runtime_checkable
class FacedTarget(Reference, Protocol):
    """
    A target that has relief, passes light, or mirrors unevenly; ``rows`` gives its matt part.

    Values are means over the area of a pixel, float32 of shape (rows, columns), also of a colour
    target.
    """

    def heights(self, first: int, last: int) -> ImageArray:
        """Relief of some rows above its level, 0. [µm]."""

    def transmittance(self, first: int, last: int) -> ImageArray:
        """Share of the light from behind that some rows let through."""

    def gloss_share(self, first: int, last: int) -> ImageArray:
        """Share of the finish's gloss that some rows have: 1 the bare face, 0 a hole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaintedFace(Painted):
    """A faced target whose rows are computed when they are asked for."""

    relief: Rows
    passed: Rows
    mirrored: Rows

    def heights(self, first: int, last: int) -> ImageArray:
        """Compute the relief of some rows. [µm]."""
        return self._some(self.relief, first, last)

    def transmittance(self, first: int, last: int) -> ImageArray:
        """Compute what some rows let through."""
        return self._some(self.passed, first, last)

    def gloss_share(self, first: int, last: int) -> ImageArray:
        """Compute how much of the finish's gloss some rows have."""
        return self._some(self.mirrored, first, last)


def grid_of(*, pixel_size_um: float, width_mm: float, height_mm: float) -> Grid:
    """Lay the pixel grid of a target, its sides rounded to whole pixels."""
    if not (isfinite(pixel_size_um) and pixel_size_um > 0):
        refuse(f"target.pixel_size: read {pixel_size_um:g} um, expected a size above 0 um")
    pixel_mm = pixel_size_um / 1000
    sides = {"width": width_mm, "height": height_mm}
    faults = [
        f"target.{key}: read {side_mm:g} mm, "
        f"expected at least one reference pixel ({pixel_mm:g} mm)"
        for key, side_mm in sides.items()
        if not (isfinite(side_mm) and side_mm >= pixel_mm)
    ]
    if faults:
        raise InputError(*faults)
    return Grid(
        pixel_size_um=pixel_size_um,
        rows=round(height_mm / pixel_mm),
        columns=round(width_mm / pixel_mm),
    )
