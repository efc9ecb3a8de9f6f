"""Whether a fault lies in the region of its scene that its kind is meant for."""

from collections.abc import Callable
from functools import lru_cache
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.regions import EVERY, Region
from linesim.dataset.scenes import Piece
from linesim.defects.draw import Box
from linesim.files.images_in import read_image
from linesim.setup.errors import refuse

_SMOOTH_MM = 0.5
"""Side of the square whose mean lightness counts, so that grain is no edge; our choice."""
_HALF = 0.5
_KEPT = 4
_GREY = 2


def allowed(
    plan: Plan, scene: int, piece: Piece, grid_mm: tuple[float, float, float]
) -> Callable[[str, Box], bool] | None:
    """
    Tell whether all of a fault that the piece shows lies in its kind's region.

    ``grid_mm`` has the sides of a pixel of the scene across and along, and where the piece begins
    along. What is given takes a kind and the upright box of a fault, as it lies before the camera;
    nothing where a plan has no regions.
    """
    if not plan.regions:
        return None
    across_mm, along_mm, first_mm = grid_mm
    middle = piece.left + piece.columns / 2

    def may_lie(kind: str, box: Box) -> bool:
        region = plan.regions.get(kind, plan.regions.get(EVERY))
        if region is None:
            return True
        left = max(floor(middle + box[0] / across_mm), piece.left)
        right = min(ceil(middle + box[2] / across_mm), piece.left + piece.columns)
        top = max(piece.top + floor((box[1] - first_mm) / along_mm), piece.top)
        bottom = min(piece.top + ceil((box[3] - first_mm) / along_mm), piece.top + piece.rows)
        if left >= right or top >= bottom:
            return False
        sums = _sums(plan, region, scene)
        inside = sums[bottom, right] - sums[top, right] - sums[bottom, left] + sums[top, left]
        return int(inside) == (right - left) * (bottom - top)

    return may_lie


@lru_cache(maxsize=_KEPT)
def _sums(plan: Plan, region: Region, scene: int) -> NDArray[np.int64]:
    """Count the pixels of a region above and left of each corner of a pixel."""
    inside = _mask(plan, region, scene) if region.masks else _of_lightness(plan, region, scene)
    sums = np.zeros((inside.shape[0] + 1, inside.shape[1] + 1), dtype=np.int64)
    np.cumsum(np.cumsum(inside, axis=0, dtype=np.int64), axis=1, out=sums[1:, 1:])
    return sums


def _of_lightness(plan: Plan, region: Region, scene: int) -> NDArray[np.bool_]:
    data = plan.scene(scene).data
    grey = data if data.ndim == _GREY else data.mean(axis=2)
    side = max(1, round(_SMOOTH_MM * 1000 / plan.scenes.pixel_size_um))
    mean = uniform_filter(grey, size=side, mode="nearest")
    return np.asarray((mean >= region.low) & (mean <= region.high))


def _mask(plan: Plan, region: Region, scene: int) -> NDArray[np.bool_]:
    path = region.masks[scene if len(region.masks) > 1 else 0]
    data = read_image(path, encoding="linear", key="regions").data
    grey, shape = data if data.ndim == _GREY else data.mean(axis=2), plan.scene_shape(scene)
    if grey.shape != tuple(shape[:2]):
        refuse(
            f'regions: mask "{path.name}" has {grey.shape[1]} x {grey.shape[0]} pixels, but scene '
            f"{plan.scenes.name(scene)} {shape[1]} x {shape[0]}; expected the same"
        )
    return np.asarray(grey > _HALF)
