"""Faults as coats of paint: outlines of what they cover, and what becomes of the product there."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from linesim.dataset.feed.outlines import Outlines, outlined
from linesim.defects.effects import Contrast, Effect, Material, Relative, for_channels
from linesim.defects.fault import FINE, Fault, Shape
from linesim.defects.window import View, Window
from linesim.setup.arrays import ImageArray
from linesim.targets.painted import Grid

_GREY = np.zeros((1, 1), dtype=np.float32)


class Coat(NamedTuple):
    """One layer of a fault, to be laid on the product."""

    cover: int  # which of the covers says where
    rows: tuple[int, int]
    columns: tuple[int, int]
    ratio: float = 1.0  # of what lies there, or of its contrast about the mean around
    sigma_px: float = 0.0  # over which that mean goes; 0 where there is none
    reach_px: int = 0  # at which it ends
    material: ImageArray | None = None  # what lies there instead


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Drawing:
    """The covers of one image, as they are asked for; an outline that comes twice is drawn once."""

    grid: Grid
    found: list[Outlines] = field(default_factory=list)

    def cover(self, fault: Fault, shape: Shape, window: Window) -> int:
        """Draw a shape of a fault; give the number of its cover."""
        edges = fault.placed(shape, self.grid.pixel_size_um / FINE)
        self.found.append(outlined(edges, window))
        return len(self.found) - 1

    def held(self, fault: Fault) -> "Held":
        """Draw all of a fault."""
        window, covers = fault.window(self.grid), dict[Shape, int]()
        if window.empty:
            return Held(window=window, area_um2=fault.area_um2)
        for shape in (*(layer.shape for layer in fault.layers), fault.outline):
            if shape not in covers:
                covers[shape] = self.cover(fault, shape, window)
        coats = tuple(_coat(covers[each.shape], window, each.effect) for each in fault.layers)
        cover = covers[fault.outline]
        return Held(window=window, area_um2=fault.area_um2, coats=coats, cover=cover)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Held:
    """A fault that has been drawn."""

    window: Window
    area_um2: float
    coats: Sequence[Coat] = ()
    cover: int = -1  # of its mask


def is_paint(fault: Fault) -> bool:
    """Tell whether a fault is what a coat can be: flat, and of one of the usual effects."""
    usual = all(isinstance(each.effect, Relative | Material | Contrast) for each in fault.layers)
    return usual and fault.form is None


def _coat(cover: int, window: Window, effect: Effect) -> Coat:
    rows, columns = (window.top, window.bottom), (window.left, window.right)
    if isinstance(effect, Relative):
        ratio = float(1 + for_channels(effect.change, _GREY))
        return Coat(cover=cover, rows=rows, columns=columns, ratio=ratio)
    if isinstance(effect, Contrast):
        return Coat(
            cover=cover,
            rows=rows,
            columns=columns,
            ratio=effect.ratio,
            sigma_px=effect.over_um / window.grid.pixel_size_um,
            reach_px=effect.reach_px(window.grid.pixel_size_um),
        )
    # another material is the same on any product
    view = View(window=window, image=np.zeros(window.shape, dtype=np.float32))
    return Coat(cover=cover, rows=rows, columns=columns, material=effect.applied(view, view))
