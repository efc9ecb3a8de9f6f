"""Faults drawn as outlines of straight sides, exact over each pixel's area."""

from dataclasses import dataclass, replace

import numpy as np

from linesim.defects.edges import Edges, closed
from linesim.defects.effects import Change, Colour, Effect, Material, effect_of
from linesim.defects.fault import Fault, one_layer
from linesim.defects.pose import TINY, Pose, need_factor
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse

FEWEST, MOST = 3, 1000
"""Corners of an outline."""
_LEAST_UM2 = 1e-3
_FARTHEST_UM = 1e7


@dataclass(frozen=True, slots=True, kw_only=True)
class Polygon:
    """An outline, about the middle of its area."""

    # across and along, in order, either way around [µm]
    corners_um: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        """Refuse what has no inside."""
        fault = _fault(np.asarray(self.corners_um, dtype=np.float64))
        if fault:
            refuse(f"an outline {fault}")

    def edges(self, fine_um: float) -> Edges:  # noqa: ARG002 -- as every shape
        """Draw it."""
        corners = np.asarray(self.corners_um, dtype=np.float64)
        return closed(*(corners - _middle(corners)).T)


def _fault(corners: FloatArray) -> str:
    """Say what is wrong with the corners of an outline."""
    if not (np.abs(corners) <= _FARTHEST_UM).all():  # also refuses NaN
        return f"has a corner beyond {_FARTHEST_UM / 1e6:g} m; expected numbers within that"
    if not FEWEST <= len(corners) <= MOST:
        return f"has {len(corners)} corners; expected {FEWEST} to {MOST}"
    if abs(_area(corners)) < _LEAST_UM2:
        return "encloses no area; expected corners in their order around it"
    return "crosses itself; expected corners in their order around it" if _crossed(corners) else ""


def _area(corners: FloatArray) -> float:
    """Area, its sign by the way around. [µm²]."""
    x, y = (corners - corners[0]).T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def _middle(corners: FloatArray) -> FloatArray:
    """Middle of the area."""
    x, y = (corners - corners[0]).T
    cross = x * np.roll(y, -1) - y * np.roll(x, -1)
    middle = np.array([((x + np.roll(x, -1)) * cross).sum(), ((y + np.roll(y, -1)) * cross).sum()])
    return np.asarray(corners[0] + middle / (6 * _area(corners)))


def _crossed(corners: FloatArray) -> bool:
    """Tell whether two sides cross that do not meet at a corner."""
    start, end = corners, np.roll(corners, -1, axis=0)
    one, two = (_side(start, end, points) for points in (start, end))  # of each side, each corner
    apart = np.sign(one) * np.sign(two) < 0
    return bool((apart & apart.T).any())


def _side(start: FloatArray, end: FloatArray, points: FloatArray) -> FloatArray:
    """Tell on which side of each line from start to end points lie."""
    along = (end - start)[:, None]
    to = points[None] - start[:, None]
    return np.asarray(along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0])


@dataclass(frozen=True, slots=True, kw_only=True)
class PolygonFault:
    """An outline and what it does, without its place."""

    kind: str
    outline: Polygon
    effect: Effect
    size: float

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        need_factor("size", self.size, least=TINY)

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        own = replace(pose, scale=pose.scale * self.size)
        return one_layer(self.kind, own, self.outline, self.effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedInside:
    """Outlines that change the local reflectance: what `kinds.Kind.make` is for them."""

    kind: str
    outlines: tuple[Polygon, ...]  # ``form`` chooses one

    def __call__(self, change: Change, size: float = 1.0, form: int = 0) -> PolygonFault:
        """Make one of the outlines, counted round and round."""
        outline = self.outlines[int(form) % len(self.outlines)]
        return PolygonFault(kind=self.kind, outline=outline, effect=effect_of(change), size=size)


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeOf:
    """Outlines filled with another material: what `kinds.Kind.make` is for them."""

    kind: str
    outlines: tuple[Polygon, ...]  # ``form`` chooses one

    def __call__(
        self, reflectance: float | Colour, size: float = 1.0, form: int = 0
    ) -> PolygonFault:
        """Make one of the outlines, counted round and round."""
        outline = self.outlines[int(form) % len(self.outlines)]
        colour = reflectance if isinstance(reflectance, tuple) else (reflectance,)
        effect = Material(reflectance=colour)
        return PolygonFault(kind=self.kind, outline=outline, effect=effect, size=size)
