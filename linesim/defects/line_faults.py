"""
Long and thin: scratch, streak along travel, crease.

A ``change`` is a share of the local reflectance, one number or red, green and blue, or an effect.
"""

from dataclasses import dataclass

from linesim.defects.effects import Change, Relative, effect_of
from linesim.defects.fault import Fault, Layer, one_layer
from linesim.defects.pose import Pose
from linesim.defects.strokes import SoftStreak, Stroke


@dataclass(frozen=True, slots=True, kw_only=True)
class Scratch:
    """A thin stroke, slightly bent, that ends in points."""

    length_um: float
    width_um: float
    change: Change
    bend: float = 0.0
    taper: float = 0.25

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        stroke = Stroke(
            length_um=self.length_um, width_um=self.width_um, bend=self.bend, taper=self.taper
        )
        return one_layer("scratch", pose, stroke, effect_of(self.change))


@dataclass(frozen=True, slots=True, kw_only=True)
class Streak:
    """A streak along travel that fades on all sides, as a coater's lip or a roller leaves it."""

    length_um: float
    width_um: float
    change: Change
    fade: float = 0.2

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        soft = SoftStreak(
            length_um=self.length_um, width_um=self.width_um, fade_um=self.fade * self.length_um
        )
        return one_layer("streak", pose, soft, effect_of(self.change))


@dataclass(frozen=True, slots=True, kw_only=True)
class Crease:
    """A bright line and a dark one side by side, as a fold throws light and shadow."""

    length_um: float
    width_um: float
    change: float
    bend: float = 0.0
    taper: float = 0.3

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        layers = (
            Layer(shape=self._side(1), effect=Relative(change=(self.change,))),
            Layer(shape=self._side(-1), effect=Relative(change=(-self.change,))),
        )
        return Fault(kind="crease", pose=pose, layers=layers, outline=self._side(0))

    def _side(self, side: int) -> Stroke:
        return Stroke(
            length_um=self.length_um,
            width_um=self.width_um,
            bend=self.bend,
            taper=self.taper,
            side=side,
        )
