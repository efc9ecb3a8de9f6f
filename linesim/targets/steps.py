"""A grey step wedge of known reflectances, for noise against signal and for linearity."""

from functools import partial

import numpy as np

from linesim.forward.reference import Reference
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.painted import Grid, Painted, grid_of

LIGHTEST = 0.9
"""Reflectance of the first step."""

DENSITY_STEP = 0.15
"""Optical density from one step to the next, half a stop of light."""

STEPS = 12
"""Number of steps; the last one has a reflectance of about 0.02."""


def step_reflectances() -> FloatArray:
    """Give the reflectances of the wedge."""
    densities = DENSITY_STEP * np.arange(STEPS)
    reflectances: FloatArray = LIGHTEST * np.power(10.0, -densities)
    return reflectances


def steps(*, pixel_size_um: float, width_mm: float, height_mm: float) -> Reference:
    """Make a grey step wedge of 12 equal density steps along travel, each over the full width."""
    grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
    return Painted(grid=grid, paint=partial(_paint, grid))


def _paint(grid: Grid, first: int, last: int) -> ImageArray:
    ends_px = np.arange(STEPS + 1) * (grid.rows / STEPS)
    reached = np.concatenate(([0.0], np.cumsum(step_reflectances() * np.diff(ends_px))))
    row_means = np.diff(np.interp(np.arange(first, last + 1), ends_px, reached))
    return np.repeat(row_means.astype(np.float32)[:, None], grid.columns, axis=1)
