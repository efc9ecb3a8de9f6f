"""Where on the target a fault lies, how it is turned, and how large it is drawn."""

from dataclasses import dataclass
from math import cos, isfinite, radians, sin

import numpy as np

from linesim.defects.edges import Edges
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse

TINY = 1e-6
"""Least factor of a size."""


def need_factor(name: str, factor: float, *, least: float) -> None:
    """Refuse what is no factor."""
    if not (isfinite(factor) and factor >= least):
        bound = "from 0" if least == 0 else "above 0"
        refuse(f"{name}: read {factor:g}, expected a factor {bound}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """Place, direction and scale of a fault."""

    x_mm: float  # across travel, from the optical axis [mm]
    y_mm: float  # along travel, from the leading edge of the target [mm]
    # turned from the direction across towards the direction of travel, clockwise in a picture whose
    # first line is on top [°]
    turn_deg: float = 0.0
    scale: float = 1.0  # factor of all its sizes

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        if not all(isfinite(part) for part in (self.x_mm, self.y_mm, self.turn_deg, self.scale)):
            refuse(f"pose: read {self}, expected finite numbers")
        if self.scale <= 0:
            refuse(f"pose.scale: read {self.scale:g}, expected a factor above 0")

    def placed(self, edges: Edges) -> Edges:
        """Bring edges from a shape's own place to the target."""
        cosine, sine = (self.scale * part(radians(self.turn_deg)) for part in (cos, sin))
        x_um: FloatArray = 1000 * self.x_mm + cosine * edges.x_um - sine * edges.y_um
        y_um: FloatArray = 1000 * self.y_mm + sine * edges.x_um + cosine * edges.y_um
        return Edges(x_um=x_um, y_um=y_um, weights=np.asarray(edges.weights))
