"""A reference that is computed row by row from a formula, so that its length costs no memory."""

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite
from typing import Protocol, runtime_checkable

from linesim.forward.reference import Reference
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """
    The pixel grid of a target.

    Row 0 meets the camera first; column 0 is at the left. Pixel ``j`` reaches from ``j`` to
    ``j + 1`` when positions are counted in pixels from the upper left corner of the target.

    Parameters
    ----------
    pixel_size_um : float; side of one square pixel on the target [µm]
    rows, columns : int; number of pixels along travel and across it
    """

    pixel_size_um: float
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
    """A reference whose rows are computed when they are asked for."""

    pixel_size_um: float
    shape: tuple[int, ...]
    paint: Callable[[int, int], ImageArray]

    def rows(self, first: int, last: int) -> ImageArray:
        """Compute some rows."""
        return self._some(self.paint, first, last)

    def _some(self, rows: Callable[[int, int], ImageArray], first: int, last: int) -> ImageArray:
        start, stop, _ = slice(first, last).indices(self.shape[0])
        return rows(start, max(start, stop))


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

    relief: Callable[[int, int], ImageArray]
    passed: Callable[[int, int], ImageArray]
    mirrored: Callable[[int, int], ImageArray]

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
        msg = f"target.pixel_size: read {pixel_size_um:g} um, expected a size above 0 um"
        raise InputError(msg)
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
