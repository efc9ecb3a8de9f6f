"""Figures from an image of anything, without knowing what it shows."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.flat.area import Samples
from linesim.metrics.scene.block_noise import BlockNoise, block_noise
from linesim.metrics.scene.directional import Directional, directional
from linesim.setup.arrays import FloatArray

PERCENTILES = (0.1, 1.0, 5.0, 25.0, 50.0, 75.0, 95.0, 99.0, 99.9)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """How an image uses its scale."""

    counts: NDArray[np.int64]  # shape (full_scale_dn + 1,); samples of each value

    @property
    def share_at_zero(self) -> float:
        """Share of samples at 0 DN."""
        return float(self.counts[0] / self.counts.sum())

    @property
    def share_at_full_scale(self) -> float:
        """Share of samples at the largest value that can be."""
        return float(self.counts[-1] / self.counts.sum())

    @property
    def percentiles_dn(self) -> FloatArray:
        """Values that 0.1, 1, 5, 25, 50, 75, 95, 99 and 99.9 % of samples do not exceed. [DN]."""
        total = np.cumsum(self.counts)
        found = np.searchsorted(total, np.array(PERCENTILES) / 100 * total[-1])
        return np.asarray(found, dtype=np.float64)

    @property
    def range_used(self) -> float:
        """From the 0.1 % to the 99.9 % value, share of full scale."""
        low, high = self.percentiles_dn[[0, -1]]
        return float((high - low) / (self.counts.size - 1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """What an image of anything tells."""

    noise: BlockNoise  # noise against brightness: at most so much
    # shape (rows, columns); signal over noise of each block of 16 x 16 samples: at least so much; 0
    # below black
    snr_map: FloatArray
    detail: Directional  # detail along travel against detail across
    levels: Levels

    @property
    def noise_median_dn(self) -> float:
        """Noise at the median brightness of the blocks. [DN]."""
        return float(self.noise.at(np.asarray(np.median(self.noise.block_dn))))


def scene(image_dn: Samples, black_dn: float, full_scale_dn: int) -> Scene:
    """
    Read off an image what can be read without knowing what it shows.

    Parameters
    ----------
    image_dn : ndarray of shape (lines, columns); one channel, at least 66 samples each way [DN]
    full_scale_dn : int; largest sample that can be [DN]

    Raises
    ------
    ValueError; too small, or nothing but clipped blocks
    """
    noise = block_noise(image_dn, full_scale_dn)
    signal_dn = np.maximum(noise.block_dn - black_dn, 0.0)
    noise_dn = noise.at(noise.block_dn)
    counts = np.bincount(np.minimum(image_dn, full_scale_dn).ravel(), minlength=full_scale_dn + 1)
    return Scene(
        noise=noise,
        snr_map=np.divide(signal_dn, noise_dn, out=np.zeros_like(signal_dn), where=noise_dn > 0),
        detail=directional(image_dn, float(np.sqrt((noise_dn**2).mean()))),
        levels=Levels(counts=counts.astype(np.int64)),
    )
