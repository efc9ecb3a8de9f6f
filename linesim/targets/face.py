"""How the face of a target meets light and camera."""

from dataclasses import dataclass
from functools import lru_cache
from math import cos, radians, sin, tan
from typing import TypeVar

import numpy as np

from linesim.forward.surface import Finish, Strip, radiance_factors
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup
from linesim.setup.surface import HORIZON_DEG

Shares = TypeVar("Shares", float, ImageArray)


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """
    How the face of a target meets light and camera.

    Parameters
    ----------
    strip : Strip
        The light.
    view_deg : float
        Of the camera from the normal of the target. [deg]
    finish : Finish or None
        None: matt.
    slopes : tuple of float
        Tangents by which the whole face leans across and along.
    white_reflectance : float
        What reflectances of the target are shares of.
    """

    strip: Strip
    view_deg: float
    finish: Finish | None
    slopes: tuple[float, float]
    white_reflectance: float

    @property
    def level(self) -> tuple[float, float]:
        """Radiance factors of the face where it has no relief: matt of white, and mirrored."""
        return _level(self)

    def lit(self, shares: Shares) -> Shares:
        """Give radiance factors where there is no relief, from and as shares of white."""
        matt, gloss = self.level
        return matt * shares + gloss / self.white_reflectance


@lru_cache(maxsize=64)
def _level(face: Face) -> tuple[float, float]:
    matt, gloss = factors(face, np.array([face.slopes]))
    return float(matt[0]), float(gloss[0])


def factors(face: Face, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give radiance factors of slopes of shape (faces, 2): matt of white, and mirrored."""
    angle = radians(face.view_deg)
    view = np.array([0.0, -sin(angle), cos(angle)])
    return radiance_factors(face.strip, face.finish, view, slopes)


def face_of(setup: Setup) -> Face | None:
    """
    Take the face of a target out of a setup.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Face or None
        None where the target is matt and level: whatever the lamp, it sends back its reflectance.
    """
    target, light = setup.target, setup.light
    leans = (target.slope_across_deg or 0.0, target.slope_along_deg or 0.0)
    if not target.gloss and target.relief is None and leans == (0.0, 0.0):
        return None
    middle, half = light.angle_deg or 0.0, (light.angular_width_deg or 0.0) / 2
    if light.arrangement != "line":
        middle, half = 0.0, HORIZON_DEG
    finish = None
    if target.gloss:
        both = target.rms_slope
        finish = Finish(
            gloss=target.gloss,
            rms_across=float(both or target.rms_slope_across or 0.0),
            rms_along=float(both or target.rms_slope_along or 0.0),
        )
    return Face(
        strip=Strip(low_deg=middle - half, high_deg=middle + half),
        view_deg=setup.camera.angle_deg or 0.0,
        finish=finish,
        slopes=(tan(radians(leans[0])), tan(radians(leans[1]))),
        white_reflectance=target.white_reflectance,
    )
