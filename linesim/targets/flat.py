"""A flat field: the same reflectance everywhere, for noise and uniformity."""

from functools import partial

import numpy as np

from linesim.forward.reference import Reference
from linesim.setup.arrays import ImageArray
from linesim.targets.painted import Painted, grid_of


def flat(*, pixel_size_um: float, width_mm: float, height_mm: float) -> Reference:
    """Make a target that is 1.0 everywhere and holds no pixels."""
    grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
    return Painted(grid=grid, paint=partial(_paint, grid.columns))


def _paint(columns: int, first: int, last: int) -> ImageArray:
    return np.ones((last - first, columns), dtype=np.float32)
