"""A target with faults on it, of which only the patches that differ are held."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from linesim.dataset.labels.masks import HeldFault
from linesim.dataset.labels.seen import Change
from linesim.defects.defective import grid_under
from linesim.defects.window import View, Window
from linesim.forward.reference import ArrayReference
from linesim.setup.arrays import ImageArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Patched:
    """A piece of product shared by many images, and what lies in some windows, the later on top."""

    base: ArrayReference
    patches: tuple[View, ...] = ()

    @property
    def pixel_size_um(self) -> float:
        """Side of one square pixel on the target. [µm]."""
        return self.base.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns) or (rows, columns, 3)."""
        return self.base.shape

    @property
    def whole(self) -> Window:
        """All of it."""
        grid = grid_under(self.base)
        return Window(grid=grid, top=0, bottom=grid.rows, left=0, right=grid.columns)

    def rows(self, first: int, last: int) -> ImageArray:
        """Give some rows: of the product as they lie there, where nothing is on it."""
        start, stop, _ = slice(first, last).indices(self.shape[0])
        window = replace(self.whole, top=start, bottom=max(start, stop))
        return self.part(window) if self._meeting(window) else self.base.rows(start, stop)

    def part(self, window: Window) -> ImageArray:
        """Give a copy of what lies in a window."""
        drawn = View(window=self.whole, image=self.base.data).part(window).copy()
        for each in self._meeting(window):
            met = _overlap(each.window, window)
            drawn[met.within(window)] = each.part(met)
        return drawn

    def with_faults(self, faults: Iterable[HeldFault]) -> "Patched":
        """Paint faults on it, in their order."""
        painted = self
        for fault in faults:
            if fault.bounds.empty:
                continue
            around = fault.bounds.grown(fault.margin_px(fault.grid) + 1)
            # of what was there before any of them, as painting all at once has it
            before = View(window=around, image=self.part(around)) if fault.reaches else None
            under = View(window=fault.bounds, image=painted.part(fault.bounds))
            image = fault.paint(under, before or under)
            patch = View(window=fault.bounds, image=image)
            painted = replace(painted, patches=(*painted.patches, patch))
        return painted

    def _meeting(self, window: Window) -> list[View]:
        return [each for each in self.patches if not _overlap(each.window, window).empty]


def change_between(base: Patched, painted: Patched, window: Window) -> Change:
    """Take what a fault makes of the target."""
    return Change(
        shape=base.shape,
        pixel_size_um=base.pixel_size_um,
        window=window,
        part=painted.part(window) - base.part(window),
    )


def _overlap(one: Window, two: Window) -> Window:
    """Give what two windows share."""
    return replace(
        one,
        top=max(one.top, two.top),
        bottom=min(one.bottom, two.bottom),
        left=max(one.left, two.left),
        right=min(one.right, two.right),
    )
