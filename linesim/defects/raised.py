"""
Kinds of fault with relief: dents, bumps and grooves, which the lamp of a station shows by slope.

Their heights are those of `relief_faults`; their colour is the product's. The mask is where more
than 5 % of the depth is left: cos²(πr/w) > 0.05, r < 0.428 w, so a disc, or a stroke with round
ends, of 0.856 of the width.
"""

from dataclasses import dataclass
from math import acos, pi, sqrt
from typing import ClassVar

from linesim.defects import relief_faults
from linesim.defects.blobs import Blob
from linesim.defects.fault import Fault
from linesim.defects.pose import Pose
from linesim.defects.relief_faults import MASK_SHARE
from linesim.defects.strokes import Stroke

MASK_WIDTH = 2 * acos(sqrt(MASK_SHARE)) / pi
"""Of the mask, as a share of the fault's width."""


@dataclass(frozen=True, kw_only=True)
class _Round:
    width_um: float
    depth_um: float
    kind: ClassVar[str]
    form: ClassVar[type[relief_faults.Dent | relief_faults.Bump]]

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        mask_um = MASK_WIDTH * self.width_um
        return Fault(
            kind=self.kind,
            pose=pose,
            layers=(),
            outline=Blob(width_um=mask_um, height_um=mask_um),
            form=self.form(width_um=self.width_um, depth_um=self.depth_um),
            support=Blob(width_um=self.width_um, height_um=self.width_um),
        )


class Dent(_Round):
    """A round bowl without an edge, as of a knock."""

    kind = "dent"
    form = relief_faults.Dent


class Bump(_Round):
    """A round hill without an edge, as of a grain under the surface; ``depth`` is its height."""

    kind = "bump"
    form = relief_faults.Bump


@dataclass(frozen=True, slots=True, kw_only=True)
class Groove:
    """A scratch with slopes; at a turn of 0 it runs along travel."""

    length_um: float
    width_um: float
    depth_um: float

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        form = relief_faults.Groove(
            width_um=self.width_um, depth_um=self.depth_um, length_um=self.length_um
        )
        straight_um = self.length_um - self.width_um
        return Fault(
            kind="groove",
            pose=pose,
            layers=(),
            outline=Stroke(length_um=straight_um, width_um=MASK_WIDTH * self.width_um),
            form=form,
            support=Stroke(length_um=straight_um, width_um=self.width_um),
        )
