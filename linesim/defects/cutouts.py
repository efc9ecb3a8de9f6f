"""
Faults cut out of photographs: opacity and value of each picture element, laid exactly by area.

Each picture element is an even square of its own size on the target. With A the mean of the opacity
over a reference pixel, and P that of opacity times value, both exact area integrals whatever the
place, the turn and the size, and s the strength, the reflectance ρ of a pixel becomes

    ρ (1 + s (P - A))           where values are ratios to the product beside the fault,
    ρ (1 - s A) + s P           where they are reflectances.

What a cut-out adds or takes is therefore kept however the grids lie to each other, but for float32
(1e-6 of it) and for the bounds of `colours.kept_physical`. Its mask are the elements that are
opaque by half or more. Between elements nothing is made up: one that is larger than an object pixel
shows as a square.
"""

from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np

from linesim.defects.edges import Edges, covered
from linesim.defects.effects import kept_physical
from linesim.defects.fault import Fault, Layer
from linesim.defects.pose import TINY, Pose, need_factor
from linesim.defects.window import View
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse

OPAQUE = 0.5
"""Opacity from which an element belongs to the fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutOut:
    """One picture of a fault."""

    digest: str  # of all that follows; two of one digest are the same
    pixel_size_um: float  # side of an element on the target [µm]
    alpha: FloatArray = field(compare=False, repr=False)  # shape (rows, columns); opacity, 0 to 1
    # shape (rows, columns, 1); ratios to the product beside the fault, or reflectances; 0 or more
    value: FloatArray = field(compare=False, repr=False)

    def __post_init__(self) -> None:
        """Refuse what shows nothing."""
        if not (self.alpha >= OPAQUE).any():
            refuse("a cut-out: no pixel is opaque by half; expected a fault that alpha shows")


@dataclass(frozen=True, slots=True, kw_only=True)
class Opacity:
    """All of a cut-out, each element by its opacity."""

    cut: CutOut

    def edges(self, fine_um: float) -> Edges:  # noqa: ARG002 -- as every shape
        """Draw the outlines of all elements."""
        return _squares(self.cut.alpha, self.cut.pixel_size_um)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inside:
    """The elements of a cut-out that belong to the fault."""

    cut: CutOut

    def edges(self, fine_um: float) -> Edges:  # noqa: ARG002 -- as every shape
        """Draw the outlines of what is opaque by half or more."""
        return _squares((self.cut.alpha >= OPAQUE).astype(np.float64), self.cut.pixel_size_um)


@dataclass(frozen=True, slots=True, kw_only=True)
class CutEffect:
    """What a cut-out in its place does to the reflectance under it."""

    cut: CutOut
    pose: Pose
    strength: float
    absolute: bool
    reach_um: ClassVar[float] = 0.0

    def applied(self, view: View, base: View) -> ImageArray:  # noqa: ARG002 -- the place alone
        """Give what is there instead, where the cut-out covers all of a pixel."""
        share = self._mean(self.cut.alpha, view)
        planes = np.moveaxis(self.cut.value * self.cut.alpha[:, :, None], 2, 0)
        sums = np.stack([self._mean(plane, view) for plane in planes], axis=2)
        value = np.where(share[:, :, None] > 0, sums / np.maximum(share, _LEAST)[:, :, None], 1.0)
        seen = _like(value, view.image)
        strength = np.float32(self.strength)
        if self.absolute:
            wanted = view.image + strength * (seen - view.image)
        else:
            wanted = view.image * (1 + strength * (seen - 1))
        return kept_physical(wanted.astype(np.float32), view.image)

    def _mean(self, plane: FloatArray, view: View) -> FloatArray:
        """Average a plane of elements over each reference pixel, 0 beside them."""
        top = float(plane.max())
        if top <= 0:
            return np.zeros(view.window.shape)
        edges = self.pose.placed(_squares(plane / top, self.cut.pixel_size_um))
        return np.asarray(covered(edges, view.window), dtype=np.float64) * top


_LEAST = 1e-12


def _like(value: FloatArray, image: ImageArray) -> FloatArray:
    """Bring values to the channels of an image, a grey one by their mean."""
    if image.ndim == 2:  # noqa: PLR2004 -- rows and columns alone
        return np.asarray(value.mean(axis=2))
    return np.asarray(np.broadcast_to(value, image.shape))


def _squares(plane: FloatArray, pitch_um: float) -> Edges:
    """Draw the borders of all elements about the middle; between equal ones there is none."""
    rows, columns = plane.shape
    left, above = np.pad(plane, ((0, 0), (1, 1))), np.pad(plane, ((1, 1), (0, 0)))
    upright, level = left[:, :-1] - left[:, 1:], above[:-1] - above[1:]
    (i, j), (k, n) = np.nonzero(upright), np.nonzero(level)
    # each with the area before it on the side that `edges` wants
    x = np.concatenate([np.stack([j, j], axis=1), np.stack([n + 1, n], axis=1)])
    y = np.concatenate([np.stack([i, i + 1], axis=1), np.stack([k, k], axis=1)])
    return Edges(
        x_um=(x - columns / 2) * pitch_um,
        y_um=(y - rows / 2) * pitch_um,
        weights=np.concatenate([upright[i, j], level[k, n]]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CutOutFault:
    """A cut-out without its place."""

    kind: str
    cut: CutOut
    size: float
    strength: float
    absolute: bool

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        need_factor("size", self.size, least=TINY)
        need_factor("strength", self.strength, least=0.0)

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        own = replace(pose, scale=pose.scale * self.size)
        effect = CutEffect(cut=self.cut, pose=own, strength=self.strength, absolute=self.absolute)
        return Fault(
            kind=self.kind,
            pose=own,
            layers=(Layer(shape=Opacity(cut=self.cut), effect=effect),),
            outline=Inside(cut=self.cut),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CutOuts:
    """The cut-outs of one kind of fault: what `kinds.Kind.make` is for them."""

    kind: str
    cuts: tuple[CutOut, ...]  # ``form`` chooses one
    absolute: bool  # values are reflectances, not ratios

    def __call__(self, size: float = 1.0, strength: float = 1.0, form: int = 0) -> CutOutFault:
        """Make one of the pictures, counted round and round, in so many times its own size."""
        return CutOutFault(
            kind=self.kind,
            cut=self.cuts[int(form) % len(self.cuts)],
            size=size,
            strength=strength,
            absolute=self.absolute,
        )
