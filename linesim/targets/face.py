"""How the face of a target meets light and camera."""

from dataclasses import dataclass
from math import radians, sin, tan

import numpy as np

from linesim.forward.surface import Finish, Strip, radiance_factors
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

_HORIZON_DEG = 89.9


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
    """

    strip: Strip
    view_deg: float
    finish: Finish | None
    slopes: tuple[float, float]

    @property
    def level(self) -> tuple[float, float]:
        """Radiance factors of the face where it has no relief: matt of white, and mirrored."""
        matt, gloss = factors(self, np.array([self.slopes]))
        return float(matt[0]), float(gloss[0])


def factors(face: Face, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give radiance factors of slopes of shape (faces, 2): matt of white, and mirrored."""
    angle = radians(face.view_deg)
    view = np.array([0.0, -sin(angle), np.cos(angle)])
    finish = face.finish or Finish(gloss=0.0, rms_across=1.0, rms_along=1.0)
    matt, gloss = radiance_factors(face.strip, finish, view, slopes)
    return matt, gloss if face.finish else np.zeros_like(gloss)


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
        middle, half = 0.0, _HORIZON_DEG
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
    )
