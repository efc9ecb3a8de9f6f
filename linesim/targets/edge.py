"""A slanted edge for edge response (MTF) along any direction."""

from dataclasses import dataclass
from functools import partial
from math import cos, isfinite, radians, sin

import numpy as np

from linesim.forward.reference import Reference
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import refuse
from linesim.targets.coverage import HALF_DIAGONAL_PX, half_plane
from linesim.targets.painted import Grid, Painted, grid_of

LIGHT = 0.8
"""Reflectance of the light side; the dark side has this over the contrast."""

_RIGHT_ANGLE_DEG = 90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edge:
    grid: Grid
    angle_rad: float
    dark: float


def edge(
    *,
    pixel_size_um: float,
    width_mm: float,
    height_mm: float,
    angle_deg: float = 5.0,
    contrast: float = 4.0,
) -> Reference:
    """
    Make a straight edge through the centre of the target, dark to light.

    A pixel is light by the share of its area where x cos(angle) + y sin(angle) > 0, x to the right
    and y along travel, both from the centre. That share is a closed form, so the edge is exact at
    any angle. ISO 12233:2014 and later: about 5° off the sampling axis, contrast about 4:1.
    """
    if not (isfinite(contrast) and contrast > 1):
        refuse(
            f"target.contrast: read {contrast:g}, expected a ratio light to dark above 1, like 4"
        )
    if not abs(angle_deg) <= _RIGHT_ANGLE_DEG:
        refuse(f"target.angle: read {angle_deg:g} deg, expected -90 to 90 deg")
    grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
    shape = _Edge(grid=grid, angle_rad=radians(angle_deg), dark=LIGHT / contrast)
    # few rows at a time keep the float64 work inside the processor's cache
    return Painted(grid=grid, paint=partial(_paint, shape), at_once=0)


def _paint(shape: _Edge, first: int, last: int) -> ImageArray:
    normal_x, normal_y = cos(shape.angle_rad), sin(shape.angle_rad)
    x = np.arange(shape.grid.columns) + 0.5 - shape.grid.columns / 2
    y = np.arange(first, last) + 0.5 - shape.grid.rows / 2
    distance_px = x * normal_x + (y * normal_y)[:, None]
    image = np.where(distance_px > 0, np.float32(LIGHT), np.float32(shape.dark))
    cut = np.nonzero(np.abs(distance_px) < HALF_DIAGONAL_PX)
    share = half_plane(distance_px[cut], normal_x, normal_y)
    image[cut] = shape.dark + (LIGHT - shape.dark) * share
    return image
