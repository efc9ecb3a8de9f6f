"""A target with faults on it, and the mask of each, as references for the forward model."""

from dataclasses import dataclass, field

import numpy as np

from linesim.defects.fault import Fault
from linesim.defects.window import View, Window
from linesim.forward.reference import Reference
from linesim.setup.arrays import ImageArray
from linesim.targets.painted import Grid


def grid_under(reference: Reference) -> Grid:
    """Take the pixel grid of a reference."""
    return Grid(
        pixel_size_um=reference.pixel_size_um, rows=reference.shape[0], columns=reference.shape[1]
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FaultMask:
    """The mask of one fault, as a reference."""

    grid: Grid
    fault: Fault
    window: Window = field(init=False)

    def __post_init__(self) -> None:
        """Find its bounds once."""
        object.__setattr__(self, "window", self.fault.window(self.grid))

    @property
    def pixel_size_um(self) -> float:
        """Side of one square pixel on the target. [µm]."""
        return self.grid.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns)."""
        return self.grid.rows, self.grid.columns

    def rows(self, first: int, last: int) -> ImageArray:
        """Give the mask in some rows."""
        start, stop, _ = slice(first, last).indices(self.grid.rows)
        share = np.zeros((max(stop - start, 0), self.grid.columns), dtype=np.float32)
        part = self.window.between(start, stop)
        if not part.empty:
            share[part.top - start : part.bottom - start, part.left : part.right] = (
                self.fault.coverage(part)
            )
        return share


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DefectiveReference:
    """
    A reference with faults painted on it, in their order.

    Outside the faults' bounds its values are those of the base, bit for bit, and rows are the
    same whatever others they are asked for with.
    """

    base: Reference  # the target without faults, grey or colour
    faults: tuple[Fault, ...]
    windows: tuple[Window, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Find all bounds once."""
        grid = self.grid
        object.__setattr__(self, "windows", tuple(fault.window(grid) for fault in self.faults))

    @property
    def grid(self) -> Grid:
        """The base's pixels."""
        return grid_under(self.base)

    @property
    def pixel_size_um(self) -> float:
        """Side of one square pixel on the target. [µm]."""
        return self.base.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns) or (rows, columns, 3)."""
        return self.base.shape

    def rows(self, first: int, last: int) -> ImageArray:
        """Draw some rows, from the first to one past the last, in linear reflectance."""
        start, stop, _ = slice(first, last).indices(self.shape[0])
        parts = [window.between(start, stop) for window in self.windows]
        met = [pair for pair in zip(self.faults, parts, strict=True) if not pair[1].empty]
        if not met:
            return self.base.rows(start, max(start, stop))
        whole = Window(grid=self.grid, top=start, bottom=stop, left=0, right=self.shape[1])
        around = whole.grown(max(fault.margin_px(whole.grid) for fault, _ in met))
        base = View(window=around, image=self.base.rows(around.top, around.bottom))
        drawn = View(window=whole, image=base.part(whole).copy())
        for fault, window in met:
            under = drawn.part(window)
            under[...] = fault.paint(View(window=window, image=under), base)
        return drawn.image
