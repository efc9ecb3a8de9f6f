"""A fault: shapes laid over the target one after the other, and the outline that is its mask."""

from collections.abc import Hashable
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, cos, floor, radians, sin
from typing import Protocol

import numpy as np

from linesim.defects.edges import Edges, covered
from linesim.defects.effects import Effect
from linesim.defects.pose import Pose
from linesim.defects.relief_faults import ReliefFault
from linesim.defects.window import View, Window
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.painted import Grid

FINE = 1000.0
"""Curves are drawn as straight edges that miss them by about a pixel over this."""
_FINE_UM = 0.05  # where no grid is at hand


class Shape(Hashable, Protocol):
    """What can be covered: a shape about its own middle."""

    def edges(self, fine_um: float) -> Edges:
        """Draw it, curves to about that length. [µm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A shape and what it does to the reflectance under it."""

    shape: Shape
    effect: Effect


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault on a target."""

    kind: str
    pose: Pose
    layers: tuple[Layer, ...]  # painted in this order; none of one that only has relief
    # Its mask. A soft rim counts by its opacity; a halo around the fault is painted and not
    # counted.
    outline: Shape
    form: ReliefFault | None = None  # its heights about its own middle, at a turn of 0
    support: Shape | None = None  # all that it raises

    @property
    def area_um2(self) -> float:
        """Covered area on the target, as if it had no borders. [µm²]."""
        return self.placed(self.outline, _FINE_UM).area_um2

    @property
    def box_mm(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of all that is painted, across from the axis. [mm]."""
        left_um, top_um, right_um, bottom_um = self._bounds_um(_FINE_UM)
        return left_um / 1000, top_um / 1000, right_um / 1000, bottom_um / 1000

    def window(self, grid: Grid) -> Window:
        """Give the reference pixels that it can touch; empty if it lies beside the reference."""
        pitch_um, half = grid.pixel_size_um, grid.columns / 2
        left_um, top_um, right_um, bottom_um = self._bounds_um(pitch_um / FINE)
        return Window(
            grid=grid,
            top=max(floor(top_um / pitch_um), 0),
            bottom=min(ceil(bottom_um / pitch_um), grid.rows),
            left=max(floor(left_um / pitch_um + half), 0),
            right=min(ceil(right_um / pitch_um + half), grid.columns),
        )

    def margin_px(self, grid: Grid) -> int:
        """Tell how much of the target around it counts for what is painted."""
        reach_um = max((layer.effect.reach_um for layer in self.layers), default=0.0)
        return ceil(reach_um / grid.pixel_size_um)

    def coverage(self, window: Window) -> ImageArray:
        """Give the mask: the share of each pixel's area that it covers, 0 to 1."""
        return covered(self.placed(self.outline, window.grid.pixel_size_um / FINE), window)

    def paint(self, view: View, base: View) -> ImageArray:
        """
        Paint it over some rows of its bounds: ρ + coverage · (new - ρ), layer after layer.

        ``view`` is what lies there, of all columns of the bounds; ``base`` is the untouched target
        there and in a margin around.
        """
        image = view.image
        for layer in self.layers:
            share = covered(
                self.placed(layer.shape, view.window.grid.pixel_size_um / FINE), view.window
            )
            if not share.any():
                continue
            image = laid(View(window=view.window, image=image), base, layer, share)
        return np.asarray(image)

    def heights_um(self, window: Window) -> FloatArray:
        """Give its heights in the middles of pixels, which may lie beyond the target. [µm]."""
        if self.form is None:
            return np.zeros(window.shape)
        pitch_um, pose = window.grid.pixel_size_um, self.pose
        across = np.arange(window.left, window.right) + 0.5 - window.grid.columns / 2
        x_um = across[None, :] * pitch_um - 1000 * pose.x_mm
        y_um = (np.arange(window.top, window.bottom)[:, None] + 0.5) * pitch_um - 1000 * pose.y_mm
        c, s = cos(radians(pose.turn_deg)), sin(radians(pose.turn_deg))
        return self.form.height_um(c * x_um + s * y_um, c * y_um - s * x_um)

    def placed(self, shape: Shape, fine_um: float) -> Edges:
        """
        Draw a shape where the fault lies.

        Parameters
        ----------
        shape : Shape; about the fault's own middle
        fine_um : float; length to which curves are drawn [µm]

        Returns
        -------
        Edges
        """
        return _placed_edges(self.pose, shape, fine_um)

    def _bounds_um(self, fine_um: float) -> tuple[float, float, float, float]:
        """Give left, top, right and bottom of all that is painted or raised."""
        shapes = [*(layer.shape for layer in self.layers), self.outline]
        if self.support is not None:
            shapes.append(self.support)
        bounds = [self.placed(shape, fine_um).bounds_um for shape in dict.fromkeys(shapes)]
        left_um, top_um, right_um, bottom_um = zip(*bounds, strict=True)
        return min(left_um), min(top_um), max(right_um), max(bottom_um)


def laid(view: View, base: View, layer: Layer, share: ImageArray) -> ImageArray:
    """
    Lay one layer over what is there: reflectance ρ + share · (new - ρ).

    Parameters
    ----------
    share : ndarray of shape (rows, columns); of each pixel that it covers
    """
    weight = share.reshape(*share.shape, *(1,) * (view.image.ndim - 2))
    return np.asarray(view.image + weight * (layer.effect.applied(view, base) - view.image))


@lru_cache(maxsize=64)
def _placed_edges(pose: Pose, shape: Shape, fine_um: float) -> Edges:
    """Draw a shape on the target; kept, for block after block asks for the same."""
    return pose.placed(_drawn_edges(shape, fine_um / pose.scale))


@lru_cache(maxsize=64)
def _drawn_edges(shape: Shape, fine_um: float) -> Edges:
    """Draw a shape about its own middle; kept, for it is drawn before its place is known."""
    return shape.edges(fine_um)


def one_layer(kind: str, pose: Pose, shape: Shape, effect: Effect) -> Fault:
    """Make a fault of one shape and one effect."""
    return Fault(kind=kind, pose=pose, layers=(Layer(shape=shape, effect=effect),), outline=shape)
