"""A grey step wedge of known reflectances, for noise against signal and for linearity."""

from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True, kw_only=True)
class StepBand:
    """
    Where one step of the wedge lies; it fills the whole width.

    Parameters
    ----------
    reflectance : float
        Linear reflectance of the step.
    y_mm : float
        Where it begins, from the leading edge of the target. [mm]
    height_mm : float
        Its length along travel. [mm]
    """

    reflectance: float
    y_mm: float
    height_mm: float


def step_reflectances() -> FloatArray:
    """
    Give the reflectances of the wedge.

    Returns
    -------
    ndarray of shape (12,)
        0.9 · 10^(-0.15 k) for k = 0, 1, …: equal steps of optical density D = -log10(R),
        light to dark in the order the camera meets them.
    """
    densities = DENSITY_STEP * np.arange(STEPS)
    reflectances: FloatArray = LIGHTEST * np.power(10.0, -densities)
    return reflectances


def step_bands(*, height_mm: float) -> tuple[StepBand, ...]:
    """
    Tell where each step lies.

    Parameters
    ----------
    height_mm : float
        Size of the target along travel. [mm]

    Returns
    -------
    tuple of StepBand
        In the order the camera meets them.
    """
    each_mm = height_mm / STEPS
    return tuple(
        StepBand(reflectance=float(value), y_mm=index * each_mm, height_mm=each_mm)
        for index, value in enumerate(step_reflectances())
    )


def steps(*, pixel_size_um: float, width_mm: float, height_mm: float) -> Reference:
    """
    Make a grey step wedge of 12 equal density steps along travel.

    The steps follow one another along travel and fill the whole width, so that every pixel of
    the line sees every step, whatever the light does across the line.

    Parameters
    ----------
    pixel_size_um : float
        Side of one square reference pixel. [µm]
    width_mm, height_mm : float
        Size across travel and along it. [mm]

    Returns
    -------
    Reference
        Of shape (rows, columns), computed by rows.

    Raises
    ------
    InputError
        If a size is not above zero or smaller than a pixel.
    """
    grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
    return Painted(
        pixel_size_um=pixel_size_um,
        shape=(grid.rows, grid.columns),
        paint=partial(_paint, grid),
    )


def _paint(grid: Grid, first: int, last: int) -> ImageArray:
    ends_px = np.arange(STEPS + 1) * (grid.rows / STEPS)
    reached = np.concatenate(([0.0], np.cumsum(step_reflectances() * np.diff(ends_px))))
    row_means = np.diff(np.interp(np.arange(first, last + 1), ends_px, reached))
    return np.repeat(row_means.astype(np.float32)[:, None], grid.columns, axis=1)
