"""The masks of an image: which samples belong to which fault, none to two of them."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.labels.rle import Mask
from linesim.defects.fault import Fault, laid
from linesim.defects.labels import Label
from linesim.defects.window import View, Window
from linesim.setup.arrays import ImageArray
from linesim.targets.painted import Grid


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HeldFault:
    """A fault whose cover is worked out once: to be painted, and for the label's strips."""

    fault: Fault
    grid: Grid
    bounds: Window = field(init=False)
    cover: ImageArray = field(init=False)

    def __post_init__(self) -> None:
        """Work it out."""
        bounds = self.fault.window(self.grid)
        object.__setattr__(self, "bounds", bounds)
        object.__setattr__(
            self,
            "cover",
            np.zeros((0, 0), np.float32) if bounds.empty else self.fault.coverage(bounds),
        )

    def window(self, grid: Grid) -> Window:  # noqa: ARG002 -- of the face
        """Give the bounds: the reference pixels it can touch."""
        return self.bounds

    def coverage(self, window: Window) -> ImageArray:
        """Give the mask in a part of the bounds."""
        return self.cover[window.within(self.bounds)]

    def margin_px(self, grid: Grid) -> int:
        """Tell how much of the target around it counts for what is painted. [px]."""
        return self.fault.margin_px(grid)

    @property
    def reaches(self) -> bool:
        """Whether the target around it counts for what is painted."""
        return self.margin_px(self.grid) > 0

    def paint(self, view: View, base: View) -> ImageArray:
        """Paint it; one of a single shape, which is its mask too, with the cover that is kept."""
        if not self.fault.layers:
            return view.image
        first, *others = self.fault.layers
        if others or first.shape != self.fault.outline:
            return self.fault.paint(view, base)
        return laid(view, base, first, self.coverage(view.window))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Outline:
    """Samples that belong to one fault."""

    line: int  # of the upper left sample of the mask
    column: int
    mask: Mask  # shape (lines, columns); the smallest rectangle that holds them all

    @property
    def area_px(self) -> int:
        """Samples in it. [px]."""
        return int(np.count_nonzero(self.mask))

    @property
    def box(self) -> tuple[int, int, int, int]:
        """Left, top, width, height."""
        return self.column, self.line, self.mask.shape[1], self.mask.shape[0]

    @property
    def place(self) -> tuple[slice, slice]:
        """Lines and columns of the image that its mask lies in."""
        lines, columns = self.mask.shape
        return slice(self.line, self.line + lines), slice(self.column, self.column + columns)


def outline(label: Label, threshold: float) -> Outline:
    """Choose the samples that belong to a fault."""
    return _trimmed(
        Outline(
            line=label.first_line,
            column=label.first_column,
            mask=label.mask >= threshold * label.mask.max(),
        )
    )


def _trimmed(given: Outline) -> Outline:
    """Cut off what is empty all around."""
    lines, columns = (np.flatnonzero(given.mask.any(axis=axis)) for axis in (1, 0))
    if lines.size == 0:
        return replace(given, mask=np.zeros((0, 0), dtype=np.bool_))
    return Outline(
        line=given.line + int(lines[0]),
        column=given.column + int(columns[0]),
        mask=given.mask[lines[0] : lines[-1] + 1, columns[0] : columns[-1] + 1],
    )


def apart(outlines: Sequence[Outline], shape: tuple[int, int]) -> tuple[Outline, ...]:
    """Give each sample to the fault on top of it alone."""
    owner = np.zeros(shape, dtype=np.int32)
    for number, each in enumerate(outlines, start=1):
        owner[each.place][each.mask] = number
    return tuple(
        _trimmed(replace(each, mask=each.mask & (owner[each.place] == number)))
        for number, each in enumerate(outlines, start=1)
    )


def class_mask(
    outlines: Sequence[tuple[Outline, int]], shape: tuple[int, int]
) -> NDArray[np.uint8]:
    """Draw the mask of classes."""
    drawn = np.zeros(shape, dtype=np.uint8)
    for each, value in outlines:
        drawn[each.place][each.mask] = value
    return drawn
