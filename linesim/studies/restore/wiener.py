"""
The Wiener filter, over cosines, of an image whose blur and noise are known.

An image y = h ∗ x + n is restored by the filter that is least off in the mean square,

    G = (1/H)·S/(S + N),

with H the transfer function, N the noise and S the blurred signal, both as power at a frequency
(N. Wiener, 1949; H. C. Andrews and B. R. Hunt, Digital Image Restoration, 1977, both from memory).
The image goes on beyond its borders as in a mirror, so the transform is the DCT-II, under which a
symmetric blur is a product, and white noise stays white (orthonormal).

S is what the image has over the known noise: its power averaged over 11 x 11 frequencies less N,
and nothing where that is under three standard errors of such an average of noise. Noise that all
lines or all columns share lies on the two axes alone, which are averaged by themselves.
"""

from dataclasses import dataclass

import numpy as np
from scipy.fft import dctn
from scipy.ndimage import uniform_filter, uniform_filter1d
from scipy.signal import CZT

from linesim.setup.arrays import FloatArray, ImageArray

_SIDE = 11
"""Frequencies each way over which power is averaged; our choice."""
_SURE = 3.0
_BAND_LINES = 128
_LEAST_TRANSFER = 0.02
"""A transfer below this restores nothing; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoisePower:
    """Variances of an image's noise, in the unit of the image squared."""

    variance: float
    of_columns: float = 0.0  # of what the samples of a column share
    of_lines: float = 0.0  # of what the samples of a line share


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Restored:
    """A restored image as its cosines."""

    cosines: FloatArray  # shape (lines, columns); orthonormal DCT-II of the restored image
    share: FloatArray  # shape (lines, columns); S/(S + N): what of each cosine is there again
    noise_variance: float


def restore(image: FloatArray, transfer: FloatArray, noise: NoisePower) -> Restored:
    """Restore an image, by the transfer at each frequency of the DCT-II and its noise."""
    lines, columns = image.shape
    seen = dctn(image, norm="ortho")
    power = np.full(image.shape, noise.variance)
    power[0] += lines * noise.of_columns
    power[:, 0] += columns * noise.of_lines
    signal = _signal(seen**2, power)
    share = signal / np.maximum(signal + power, 1e-300)
    share[0, 0] = 1.0  # the mean stays
    share[np.abs(transfer) < _LEAST_TRANSFER] = 0.0
    gain = share / np.where(share > 0, transfer, 1.0)
    return Restored(
        cosines=gain * seen,
        share=share,
        noise_variance=float(np.mean(gain[1:, 1:] ** 2 * power[1:, 1:])),
    )


def _signal(seen: FloatArray, noise: FloatArray) -> FloatArray:
    """Estimate the power of the blurred signal at each frequency."""
    signal = np.empty_like(seen)
    inner = np.s_[1:, 1:]
    signal[inner] = _over(uniform_filter(seen[inner], _SIDE), noise[inner], _SIDE**2)
    # noise that columns or lines share lies on an axis alone, as edges along it do
    for axis in (np.s_[0, :], np.s_[:, 0]):
        signal[axis] = _over(uniform_filter1d(seen[axis], _SIDE), noise[axis], _SIDE)
    return signal


def _over(mean: FloatArray, noise: FloatArray, count: int) -> FloatArray:
    """Take noise off a mean of so many powers, each of one degree of freedom."""
    least = _SURE * np.sqrt(2 / count) * noise
    return np.where(mean - noise > least, mean - noise, 0.0)


def sampled(cosines: FloatArray, lines_at: FloatArray, columns_at: FloatArray) -> ImageArray:
    """
    Evaluate an image given by its cosines on any even grid, by the chirp z-transform.

    Parameters
    ----------
    cosines : ndarray of shape (lines, columns); orthonormal DCT-II
    lines_at, columns_at : ndarray of shape (n,), (m,)
        Places at even distances, two or more, in samples from the first one's.

    Returns
    -------
    ndarray of float32, shape (n, m)

    References
    ----------
    L. R. Rabiner, R. W. Schafer, C. M. Rader, The chirp z-transform algorithm, IEEE Trans. Audio
    Electroacoust. 17 (1969), 86 (from memory).
    """
    wide = _along_rows(cosines, columns_at)
    return np.ascontiguousarray(_along_rows(wide.T, lines_at).T)


def _along_rows(cosines: FloatArray | ImageArray, places: FloatArray) -> ImageArray:
    """Evaluate each row's cosines at places."""
    count, order = cosines.shape[1], np.arange(cosines.shape[1])
    turn = np.pi / count * (places[-1] - places[0]) / (len(places) - 1)
    factor = np.sqrt(2 / count) * np.exp(1j * np.pi / count * order * (places[0] + 0.5))
    factor[0] = np.sqrt(1 / count)
    transform = CZT(count, len(places), w=np.exp(1j * turn))
    found = np.empty((len(cosines), len(places)), dtype=np.float32)
    for first in range(0, len(cosines), _BAND_LINES):
        band = cosines[first : first + _BAND_LINES]
        found[first : first + len(band)] = transform(band * factor, axis=1).real
    return found


def true_to(share: FloatArray, frequencies: FloatArray) -> float:
    """
    Tell up to which frequency an image is there again, along its second axis.

    Parameters
    ----------
    share : ndarray of shape (lines, columns); of each cosine that is there again
    frequencies : ndarray of shape (columns,); rising

    Returns
    -------
    float; the first frequency at which, over the lowest few cosines of the other axis, less than
    half is there; where there is none, that behind the last
    """
    low = uniform_filter1d(share[1 : _SIDE + 1].mean(axis=0), _SIDE)
    under = np.flatnonzero(low < 0.5)  # noqa: PLR2004 -- half
    return float(frequencies[under[0]] if len(under) else 2 * frequencies[-1] - frequencies[-2])
