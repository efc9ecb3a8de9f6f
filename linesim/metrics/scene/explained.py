"""
Tell noise from detail: what no small kernel makes of the prediction.

A kernel of 7 x 7 samples, alike to all sides, is fitted between prediction and image by least
squares over all tiles. Whatever blur the prediction lacks, of whichever shape, is then no noise.
Streaks along and across travel are left out, by leaving out the frequencies near both axes.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import convolve

from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.compared import TILE_PX, Spectra, jackknife
from linesim.setup.arrays import FloatArray

_HALF = 3
_AXES = 2
"""Frequencies next to an axis that a tile's window spreads streaks to."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Explained:
    """What a kernel explains of an image."""

    kernel: FloatArray  # shape (7, 7)
    noise: Estimate  # variance of what is left over that predicted
    # shape (TILE_PX // 2, 2); of what is left over the noise predicted, and of the image over the
    # prediction, by frequency: across and along
    noise_power: FloatArray
    seen_power: FloatArray


def explained(found: Spectra) -> Explained:
    """Fit the kernel, and give the noise it leaves."""
    parts = np.stack([found.cross, found.power, found.seen, found.noise], axis=2)
    waves, away = _waves(), _away()
    total = parts.sum(axis=(0, 1))
    (noise,) = jackknife(parts, lambda sums: np.array([_ratio(sums, waves, away)]))
    own = _weights(total, waves)
    left = _left(total, np.tensordot(own, waves, axes=1))
    return Explained(
        kernel=_kernel(own),
        noise=noise,
        noise_power=_along_axes(left / np.maximum(total[3], 1e-300)),
        seen_power=_along_axes(total[2] / np.maximum(total[1] + total[3], 1e-300)),
    )


def kernelled(image: FloatArray, kernel: FloatArray) -> FloatArray:
    """
    Pass an image through a kernel; its border goes on.

    Parameters
    ----------
    image : ndarray of shape (lines, columns); any
    kernel : ndarray of odd sides
    """
    return np.asarray(convolve(image, kernel, mode="nearest"))


def _ratio(sums: FloatArray, waves: FloatArray, away: NDArray[np.bool_]) -> float:
    left = _left(sums, np.tensordot(_weights(sums, waves), waves, axes=1))
    return float(left[away].sum() / sums[3][away].sum())


def _left(sums: FloatArray, transfer: FloatArray) -> FloatArray:
    cross, power, seen = sums[:3]
    return np.asarray(seen - 2 * transfer * cross + transfer**2 * power)


def _weights(sums: FloatArray, waves: FloatArray) -> FloatArray:
    """Solve for the kernel's values, held by the noise where the prediction has no detail."""
    cross, power, _, noise = sums
    stiff = np.einsum("iyx,jyx,yx->ij", waves, waves, power, optimize=True)
    start = np.zeros(len(waves))
    start[0] = 1.0
    force = np.einsum("iyx,yx->i", waves, cross) - stiff @ start
    held = float(noise.mean()) * np.eye(len(waves))
    return np.asarray(start + np.linalg.solve(stiff + held, force))


def _waves() -> FloatArray:
    """Give the transfers of points alike to all sides."""
    along, across = np.fft.fftfreq(TILE_PX), np.fft.rfftfreq(TILE_PX)
    step = np.arange(_HALF + 1)
    y, x = (np.cos(2 * np.pi * np.outer(step, each)) for each in (along, across))
    return np.asarray(
        (y[:, None, :, None] * x[None, :, None, :]).reshape(-1, len(along), len(across))
    )


def _kernel(weights: FloatArray) -> FloatArray:
    quarter = weights.reshape(_HALF + 1, _HALF + 1).copy()
    quarter[1:] /= 2
    quarter[:, 1:] /= 2
    index = np.abs(np.arange(-_HALF, _HALF + 1))
    return np.asarray(quarter[np.ix_(index, index)])


def _away() -> NDArray[np.bool_]:
    along, across = np.fft.fftfreq(TILE_PX), np.fft.rfftfreq(TILE_PX)
    least = (_AXES + 0.5) / TILE_PX
    return np.asarray((np.abs(along)[:, None] > least) & (across[None, :] > least))


def _along_axes(ratio: FloatArray) -> FloatArray:
    """Average over bands of frequencies across, and along."""
    half = TILE_PX // 2
    across = ratio[_AXES + 1 : -_AXES, :half].mean(axis=0)
    along = ratio[:half, _AXES + 1 :].mean(axis=1)
    return np.stack([across, along], axis=1)
