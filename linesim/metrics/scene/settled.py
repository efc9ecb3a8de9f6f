"""
Bring an image and its prediction closer together, to a hundredth of a sample.

The step that explains most of what is left between the two, in the least squares: left = offset +
gain·P + blur_x·∂²P/∂x² + blur_y·∂²P/∂y² + six motions of P (Lucas and Kanade 1981, Gauss and
Newton; blur is let vary so that it does not pull edges along). Motions that the target cannot
tell, as one along its own edge, are held by what is likely beforehand.
"""

from typing import NamedTuple

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from linesim.metrics.scene.affine import Affine, Steps, shrunk
from linesim.setup.arrays import FloatArray

LIKELY = Steps(along=100.0, across=100.0, grow_along=0.05, grow_across=0.05, tilt=0.05, drift=0.05)
"""Spread of each motion before anything is known: a few degrees and per cent; our choice."""
_BASIS = len(LIKELY) + 4
_CHUNK_LINES = 64
_HELD = 1e-12
_COARSEST_PX = 96
_FINE_PX = 4 * _COARSEST_PX
"""Side from which on a rendering takes over from resampling."""
_ROUNDS = 12
_CLOSE_PX = 0.01
_RIM_PX = 2


class Step(NamedTuple):
    """A step and how well it is known."""

    steps: Steps
    covariance: FloatArray  # shape (6, 6); of the motions, in the same units squared


def step(
    captured: FloatArray, predicted: FloatArray, weight: FloatArray, middle_px: tuple[float, float]
) -> Step:
    """
    Give the step that brings a prediction closer.

    Parameters
    ----------
    captured, predicted : ndarray of shape (lines, columns)
    weight : ndarray of the same shape; one over the variance; 0 where nothing counts
    middle_px : (float, float); of the map, in samples of these arrays [px]
    """
    slope_y, slope_x = (np.gradient(predicted, axis=axis) for axis in (0, 1))
    bend_y, bend_x = np.gradient(slope_y, axis=0), np.gradient(slope_x, axis=1)
    rows, columns = (np.arange(side, dtype=np.float64) for side in predicted.shape)
    u = columns[None, :] - middle_px[1]
    stiff, force = np.zeros((_BASIS, _BASIS)), np.zeros(_BASIS)
    for first in range(0, len(rows), _CHUNK_LINES):
        some = slice(first, first + _CHUNK_LINES)
        along, across = slope_y[some], slope_x[some]
        w = rows[some, None] - middle_px[0]
        motions = along, across, along * w, across * u, along * u, across * w
        others = np.ones_like(along), predicted[some], bend_x[some], bend_y[some]
        basis = np.stack([*motions, *others]).reshape(_BASIS, -1)
        heavy = basis * weight[some].ravel()
        stiff += heavy @ basis.T
        force += heavy @ (captured[some] - predicted[some]).ravel()
    size = np.sqrt(np.maximum(np.diag(stiff), 1e-300))
    stiff[np.diag_indices(len(LIKELY))] += 1 / np.square(LIKELY)
    even = stiff / np.outer(size, size) + _HELD * np.eye(_BASIS)
    inverse = np.linalg.inv(even) / np.outer(size, size)
    count = len(LIKELY)
    return Step(Steps(*(inverse @ force)[:count].tolist()), inverse[:count, :count])


def settled(captured: FloatArray, predicted: FloatArray, rough: Affine) -> Affine:
    """
    Refine a rough place by resampling the prediction, from coarse to fine.

    It is right to about a twentieth of a sample: resampling is not rendering.

    Parameters
    ----------
    captured : ndarray of shape (lines, columns)
    predicted : ndarray of shape (more lines, more columns)
    """
    lies, factor = rough, 1
    while max(captured.shape) / (2 * factor) >= _COARSEST_PX:
        factor *= 2
    while factor >= 1:
        lies = _at_scale(captured, predicted, lies, factor)
        if min(captured.shape) / factor > _FINE_PX:
            break
        factor //= 2
    return lies


def _at_scale(captured: FloatArray, predicted: FloatArray, lies: Affine, factor: int) -> Affine:
    seen, field = shrunk(captured, factor), shrunk(predicted, factor)
    lines, columns = (np.arange(side, dtype=np.float64) for side in seen.shape)
    for _ in range(_ROUNDS):
        small = _smaller(lies, factor)
        places = np.broadcast_arrays(*small.at(lines[:, None], columns[None, :]))
        inside = np.ones(seen.shape, dtype=bool)
        for place, side in zip(places, field.shape, strict=True):
            inside &= (place >= _RIM_PX) & (place <= side - 1 - _RIM_PX)
        model = np.asarray(map_coordinates(field, np.stack(places), order=1, mode="nearest"))
        shading = max(seen.shape) / 8
        detail = [each - gaussian_filter(each, shading) for each in (seen, model)]
        spread = max(float(np.var(detail[0] - detail[1])), 1e-12)
        found = step(detail[0], detail[1], inside / spread, small.middle_px).steps
        lies = lies.moved(found._replace(along=found.along * factor, across=found.across * factor))
        if largest(found, seen.shape) < _CLOSE_PX:
            break
    return lies


def largest(steps: Steps, shape: tuple[int, ...]) -> float:
    """Give the largest motion of a corner of an image."""
    half = [side / 2 for side in shape[:2]]
    return max(
        abs(steps.along) + abs(steps.grow_along) * half[0] + abs(steps.tilt) * half[1],
        abs(steps.across) + abs(steps.grow_across) * half[1] + abs(steps.drift) * half[0],
    )


def _smaller(lies: Affine, factor: int) -> Affine:
    """Give a map between images that are averaged in squares."""
    own = [(each + 0.5) / factor - 0.5 for each in lies.middle_px]
    steps = lies.steps
    return Affine(
        middle_px=(own[0], own[1]),
        steps=steps._replace(along=steps.along / factor, across=steps.across / factor),
    )
