"""
Product under the lamp of its station: a face that mirrors or leans, and faults with relief on it.

Where nothing is raised the face is level, and sends back what `FacedReference` says. A fault with
relief adds what its slopes change, from tables of the face at those slopes and at none, so that
its rim leaves no seam:

    β = β_level + ρ (m(p, q) - m(0, 0)) + g(p, q) - g(0, 0),

p and q by heights two pixels apart, ρ the reflectance there. It throws no shadow, and heights of
faults that overlap add.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, log2

import numpy as np

from linesim.dataset.labels.masks import HeldFault
from linesim.dataset.piece.patched import Patched
from linesim.defects.window import View, Window
from linesim.forward.reference import ArrayReference
from linesim.setup.arrays import ImageArray
from linesim.setup.setup import Setup
from linesim.targets.faces.face import Face, face_of, face_under
from linesim.targets.faces.faced import FacedReference
from linesim.targets.faces.relief import Heights, Relief, relief_of

_ROUNDED = 2.0
"""Powers of √2 to which a steepest slope is rounded up: so few tables serve all faults."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pieces:
    """A piece of product, without its faults and with them."""

    base: Patched
    painted: Patched


def under_lamp(setup: Setup, matt: Pieces, held: Sequence[HeldFault]) -> Pieces:
    """Light a piece of product with all faults on it; one that is matt and level stays."""
    raised = [each for each in held if each.fault.form is not None and not each.bounds.empty]
    face = face_under(setup) if raised else face_of(setup)
    if face is None:
        return matt
    base, painted = (_level(face, each) for each in (matt.base, matt.painted))
    for each in raised:
        window = each.bounds.grown(1)
        image = painted.part(window) + _raised(face, matt.painted, window, raised)
        patch = View(window=window, image=image)
        painted = replace(painted, patches=(*painted.patches, patch))
    return Pieces(base=base, painted=painted)


def _level(face: Face, matt: Patched) -> Patched:
    lit = FacedReference(matt=matt, face=face).rows(0, matt.shape[0])
    return Patched(base=ArrayReference(data=lit, pixel_size_um=matt.pixel_size_um))


def _raised(face: Face, matt: Patched, window: Window, raised: Sequence[HeldFault]) -> ImageArray:
    """Give what the relief in a window changes."""
    around = replace(
        window,
        top=window.top - 1,
        bottom=window.bottom + 1,
        left=window.left - 1,
        right=window.right + 1,
    )
    met = [each for each in raised if _meet(each.bounds, around)]
    heights = np.sum([each.fault.heights_um(around) for each in met], axis=0)
    steepest = sum(each.fault.form.steepest for each in met if each.fault.form is not None)
    relief = relief_over(face, matt, steepest)
    at = replace(relief, columns=relief.columns - window.left)
    seen, flat = (
        _through(replace(at, heights=each.astype(np.float32)), matt.part(window))
        for each in (heights, np.zeros_like(heights))
    )
    return np.asarray(seen - flat)


def _through(relief: Relief, data: ImageArray) -> ImageArray:
    relief.light(data, 0)
    return data


def relief_over(face: Face, matt: Patched | ArrayReference, steepest: float) -> Relief:
    """Make a face's tables for slopes up to the tangent ``steepest``; InputError if too steep."""
    most = 2 ** (ceil(_ROUNDED * log2(steepest)) / _ROUNDED)
    pitch_um = matt.pixel_size_um
    rise_um = 2 * pitch_um * most
    # no heights yet: tables hang on slopes and on the width alone
    level = np.broadcast_to(np.float32(0), (3, matt.shape[1] + 2))
    heights = Heights(level, ((-rise_um, rise_um),) * 2)
    return relief_of(heights, pitch_um, face, name="faults with relief", bare=False)


def _meet(one: Window, two: Window) -> bool:
    return (
        one.top < two.bottom
        and two.top < one.bottom
        and one.left < two.right
        and two.left < one.right
    )
