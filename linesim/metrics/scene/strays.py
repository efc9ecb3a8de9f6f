"""
How far each line of an image lies from where it should, and how light it is, line by line.

Of each line, what is left between image and prediction is split by weighted least squares into
gain, a shift along and a shift across (the slopes of the prediction). Lines are joined to
groups until a group tells its shift to a twentieth of a sample.
"""

from dataclasses import dataclass

import numpy as np

from linesim.setup.arrays import FloatArray

_KNOWN_PX = 0.05
_MOST_JOINED = 64
_SIGNIFICANT = 5.0
_FEWEST = 8
"""Groups of lines that must tell their shift."""
_HELD = 1e-9
_LEAST = 1e-30
LEAST_PX = 0.02
"""Spread of shifts below which lines count as in their places; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """One figure of every line."""

    values: FloatArray  # shape (lines,); about its own straight line
    rms: float  # spread less what its errors alone would spread
    sd: float
    is_real: bool  # whether it is more than its errors


def strays(
    left: FloatArray, signal: FloatArray, weight: FloatArray
) -> tuple[Series, Series, Series]:
    """
    Give shifts along and across, in samples, and the relative gain of every line.

    Parameters
    ----------
    left : ndarray of shape (lines, columns); captured less predicted, in register on the whole
    signal : ndarray of the same shape; predicted, above black
    weight : ndarray of the same shape; one over the variance
    """
    slope_y, slope_x = np.gradient(signal)
    basis = slope_y, slope_x, signal
    stiff = np.stack([np.stack([(a * b * weight).sum(axis=1) for b in basis]) for a in basis])
    force = np.stack([(left * weight * a).sum(axis=1) for a in basis])
    # where more is left than noise was expected to leave, errors are larger too
    whole = stiff.sum(axis=2)
    explained = np.linalg.lstsq(whole, force.sum(axis=1), rcond=None)[0] @ force.sum(axis=1)
    louder = max(1.0, float(((left**2 * weight).sum() - explained) / left.size))
    return (
        _series(stiff / louder, force / louder, 0, _KNOWN_PX),
        _series(stiff / louder, force / louder, 1, _KNOWN_PX),
        _series(stiff / louder, force / louder, 2, np.inf),
    )


def _series(stiff: FloatArray, force: FloatArray, which: int, known: float) -> Series:
    """Solve groups of lines for one of their figures."""
    lines, joined = force.shape[1], 1
    value, error = _grouped(stiff, force, which, joined)
    while np.median(error) > known and joined < _MOST_JOINED:
        joined *= 2
        value, error = _grouped(stiff, force, which, joined)
    place = np.minimum(np.arange(0, lines, joined) + (joined - 1) / 2, lines - 1)
    # groups without detail tell nothing; what they do is drawn between their neighbours
    known_well = error <= max(2 * known, 3 * float(error.min()))
    if known_well.sum() < _FEWEST:
        return Series(values=np.zeros(lines), rms=0.0, sd=float(error.min()), is_real=False)
    place, value, error = place[known_well], value[known_well], error[known_well]
    weight = 1 / error**2
    weight = weight / weight.sum()
    value = value - np.polyval(np.polyfit(place, value, 1, w=np.sqrt(weight)), place)
    free = len(value) - 2
    spread2 = float((weight * value**2).sum())
    noise2 = float((weight * error**2).sum()) * free / len(value)
    rms = float(np.sqrt(max(spread2 - noise2, 0.0)))
    # a sum of squares with so many degrees of freedom
    sd2 = spread2 * np.sqrt(2 / free)
    return Series(
        values=np.interp(np.arange(lines), place, value),
        rms=rms,
        sd=float(sd2 / (2 * max(rms, np.sqrt(sd2), 1e-12))),
        is_real=float(np.median(error)) <= 2 * known
        and spread2 - noise2 > _SIGNIFICANT * noise2 * np.sqrt(2 / free),
    )


def _grouped(
    stiff: FloatArray, force: FloatArray, which: int, joined: int
) -> tuple[FloatArray, FloatArray]:
    """Give a figure of groups of lines, and its errors."""
    starts = np.arange(0, force.shape[1], joined)
    matrix = np.moveaxis(np.add.reduceat(stiff, starts, axis=2), 2, 0)
    pushed = np.add.reduceat(force, starts, axis=1).T
    size = np.sqrt(np.maximum(np.einsum("nii->ni", matrix), _LEAST))
    even = matrix / size[:, :, None] / size[:, None, :] + _HELD * np.eye(matrix.shape[1])
    inverse = np.linalg.inv(even) / size[:, :, None] / size[:, None, :]
    value = np.einsum("ni,ni->n", inverse[:, which], pushed)
    return value, np.sqrt(inverse[:, which, which])
