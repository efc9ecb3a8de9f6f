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
    """
    A thin stroke, slightly bent, that ends in points.

    Parameters
    ----------
    length_um, width_um : float
        Along it and across. [µm]
    change : float, tuple of float or Effect
        Share of the local reflectance that it adds or takes.
    bend : float
        Rise over chord.
    taper : float
        Share of the length at each end over which it narrows to nothing; 0 for round ends.
    """

    length_um: float
    width_um: float
    change: Change
    bend: float = 0.0
    taper: float = 0.25

    def at(self, pose: Pose) -> Fault:
        """
        Put it on a target.

        Parameters
        ----------
        pose : Pose
            The middle of its chord; at a turn of 0 that runs along travel.

        Returns
        -------
        Fault
            Its mask is the stroke, of area width · length · (1 - taper), and π/4 · width² more
            at a taper of 0.

        Raises
        ------
        InputError
            If a number is out of range.
        """
        stroke = Stroke(
            length_um=self.length_um, width_um=self.width_um, bend=self.bend, taper=self.taper
        )
        return one_layer("scratch", pose, stroke, effect_of(self.change))


@dataclass(frozen=True, slots=True, kw_only=True)
class Streak:
    """
    A streak along travel that fades on all sides, as a coater's lip or a roller leaves it.

    Parameters
    ----------
    length_um, width_um : float
        Between the places of half the change. [µm]
    change : float, tuple of float or Effect
        Share of the local reflectance that it adds or takes in its middle.
    fade : float
        Share of the length over which each end fades.
    """

    length_um: float
    width_um: float
    change: Change
    fade: float = 0.2

    def at(self, pose: Pose) -> Fault:
        """
        Put it on a target.

        Parameters
        ----------
        pose : Pose
            Its middle; at a turn of 0 it runs along travel.

        Returns
        -------
        Fault
            Its mask is its opacity, of area width · length.

        Raises
        ------
        InputError
            If a number is out of range.
        """
        soft = SoftStreak(
            length_um=self.length_um, width_um=self.width_um, fade_um=self.fade * self.length_um
        )
        return one_layer("streak", pose, soft, effect_of(self.change))


@dataclass(frozen=True, slots=True, kw_only=True)
class Crease:
    """
    A bright line and a dark one side by side, as a fold throws light and shadow.

    Parameters
    ----------
    length_um, width_um : float
        Along it, and across both lines together. [µm]
    change : float
        Share of the local reflectance that one side adds and the other takes; below 0 the sides
        change places.
    bend : float
        Rise over chord.
    taper : float
        Share of the length at each end over which it narrows to nothing; 0 for round ends.
    """

    length_um: float
    width_um: float
    change: float
    bend: float = 0.0
    taper: float = 0.3

    def at(self, pose: Pose) -> Fault:
        """
        Put it on a target.

        Parameters
        ----------
        pose : Pose
            The middle of its chord; at a turn of 0 that runs along travel.

        Returns
        -------
        Fault
            Its mask is both lines together, of area width · length · (1 - taper), and
            π/4 · width² more at a taper of 0.

        Raises
        ------
        InputError
            If a number is out of range.
        """
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
