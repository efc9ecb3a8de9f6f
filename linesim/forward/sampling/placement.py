"""
Where the target really lies under the camera, where that is not as the setup says.

A column that the setup has at x from the axis, on a line that it has at y, looks at the target at

    x' = across + scale_across·x + drift·(y − y₀) + sways(line)
    y' = along + y₀ + scale_along·(y − y₀) + tilt·(across + scale_across·x) + strays(line).

Scale across makes the pixel's side that much larger on the target, scale along the travel while
exposed. Left out: the turn of the pixel itself, of which a pixel of sides p turned by φ sees
(pφ)²/12 of a square more in variance, a thousandth of its own at 2°.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from linesim.forward.transport import LineTable
from linesim.setup.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Placement:
    """An affine map from places that the setup has to places on the target."""

    # how much further a pixel looks than the setup has it [µm]
    across_um: float = 0.0
    along_um: float = 0.0
    # length on the target for a length that the setup has
    scale_across: float = 1.0
    scale_along: float = 1.0
    tilt: float = 0.0  # shift along travel over x' at y₀: the line is not square to travel
    drift: float = 0.0  # shift across over travel
    middle_um: float = 0.0  # y₀, about which scale along and drift turn [µm]
    # shape (n,); shift along of lines 0 to n − 1; others as the nearest [µm]
    strays_um: FloatArray = field(default_factory=lambda: np.zeros(1))
    # shape (n,); the same across [µm]
    sways_um: FloatArray = field(default_factory=lambda: np.zeros(1))

    @property
    def sways(self) -> bool:
        """Whether lines are shifted across by amounts of their own."""
        return self.drift != 0 or bool(np.any(self.sways_um))

    def of_lines(self, lines: LineTable, delivered: FloatArray) -> LineTable:
        """
        Put lines where they really lie.

        Parameters
        ----------
        delivered : ndarray of shape (lines,); their numbers
        """
        from_middle_um = lines.start_um - self.middle_um
        stray_um, sway_um = (
            np.interp(delivered, np.arange(len(own_um)), own_um)
            for own_um in (self.strays_um, self.sways_um)
        )
        return replace(
            lines,
            start_um=(
                self.middle_um + self.along_um + self.scale_along * from_middle_um + stray_um
            ),
            travel_um=self.scale_along * lines.travel_um,
            sideways_um=lines.sideways_um + self.drift * from_middle_um + sway_um,
        )


AS_SET_UP = Placement()
"""The target lies where the setup says."""
