"""What a station's face and its lamps must be for the faults of a plan."""

from collections.abc import Iterator

import numpy as np

from linesim.dataset.piece.lit import relief_over
from linesim.dataset.plan.fault_texts import FaultPlan
from linesim.dataset.scenes import Scenes
from linesim.defects.kinds import RELIEF, Placed
from linesim.defects.pose import Pose
from linesim.defects.ranges import Range
from linesim.forward.reference import ArrayReference
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.targets.faces.face import face_of, face_under


def face_faults(base: Setup, faults: FaultPlan, scenes: Scenes) -> Iterator[str]:
    """Refuse faces that sets cannot show, and relief where nothing would show it."""
    target, behind = base.target, any(each.behind for each in base.lamps)
    images = [
        key for key in ("relief", "gloss", "transmittance") if isinstance(getattr(target, key), str)
    ]
    for key in images:
        yield (
            f"setup: target.{key} is an image, but images of a set are pieces of scenes; expected "
            "one value for all of the face"
        )
    if behind:
        yield (
            "setup: a lamp stands behind the target, but faults of a set say nothing of what they "
            "let through; expected light from in front"
        )
    try:
        faced = face_of(base) is not None
    except InputError as refusal:
        yield from (f"setup: {each}" for each in refusal.faults)
        return
    raised = [kind.name for kind in faults.kinds if kind.name in RELIEF]
    if scenes.real and (faced or raised):
        what = f"faults.{raised[0]}: has relief" if raised else "setup: its target mirrors or leans"
        yield f"{what}, but scans as background stay as they are; expected matt, flat faults there"
    elif not images and not behind:
        yield from _too_steep(base, faults)


def _too_steep(base: Setup, faults: FaultPlan) -> Iterator[str]:
    """Refuse slopes that the finish has no table for, before an image meets them."""
    for each in faults.wanted:
        if each.recipe.kind not in RELIEF:
            continue
        ends = {
            name: part.high if name == "depth_um" else part.low
            for name, part in each.recipe.ranges.items()
            if isinstance(part, Range)
        }
        middle = Pose(x_mm=0.0, y_mm=0.0)
        form = Placed(kind=each.recipe.kind, pose=middle, values=ends).fault().form
        level = ArrayReference(data=np.zeros((3, 3), np.float32), pixel_size_um=1.0)
        try:
            if form is not None:
                relief_over(face_under(base), level, form.steepest)
        except InputError:
            yield (
                f"faults.{each.recipe.kind}: read a depth of {ends['depth_um']:g} um on a width of "
                f"{ends['width_um']:g} um, whose slopes are far over the rms slope of the face; "
                "expected a smaller depth, a larger width, or a larger target.rms_slope"
            )
