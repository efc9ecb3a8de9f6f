"""
Noise of images of anything, from the blocks that show least.

A second difference across and along takes off whatever is straight within three samples each way,
columns that differ and lines that differ too; what is left of noise is known exactly. Texture finer
than that is left as well, so a block tells the most that noise can be. Among blocks of like
brightness the smoothest tenth is taken, and the luck of being smoothest is undone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import gamma

from linesim.metrics.flat.area import Samples
from linesim.setup.arrays import FloatArray

BLOCK = 16
"""Samples of a block each way."""
FEWEST_SIDE = 4 * BLOCK + 2
SMOOTHEST = 0.1
"""Share of the blocks of like brightness that are taken to show noise alone."""
_MOST_LEVELS = 12
_BLOCKS_A_LEVEL = 40
_CHUNK_BLOCKS = 32
_TEXTURED = 0.999


@dataclass(frozen=True, slots=True, kw_only=True)
class _Operator:
    """A difference taken both ways, its summed squares, and those of its autocorrelation."""

    squares: float
    alike: float


# Each way (1, -2, 1), squares 6, autocorrelation (1, -4, 6, -4, 1)/6; or (1, -1), 2, (-1, 2, -1)/2.
_SECOND = _Operator(squares=6.0**2, alike=(70 / 36) ** 2)
_FIRST = _Operator(squares=2.0**2, alike=(6 / 4) ** 2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlockNoise:
    """Noise against brightness, and the blocks it was read off."""

    level_dn: FloatArray  # shape (levels,); mean of the blocks of like brightness, rising [DN]
    noise_dn: FloatArray  # shape (levels,); standard deviation of noise there, or less [DN]
    noise_sd_dn: FloatArray  # shape (levels,); its standard error [DN]
    block_dn: FloatArray  # shape (rows, columns); mean of each block [DN]
    textured_share: float  # share of the blocks in which more varies than noise does
    # noise by first over noise by second differences: 1 for white noise, more where what is left is
    # texture, which is coarser
    whiteness: float
    blocks: int  # blocks that were used: those without a sample at a limit

    def at(self, level_dn: FloatArray) -> FloatArray:
        """Give the noise at any brightness."""
        return np.interp(level_dn, self.level_dn, self.noise_dn)


def block_noise(image_dn: Samples, full_scale_dn: int) -> BlockNoise:
    """
    Read the noise off an image of anything.

    J. Immerkær, Fast noise variance estimation, Comput. Vis. Image Underst. 64 (1996), 300, for the
    second difference (from memory).
    """
    if min(image_dn.shape) < FEWEST_SIDE:
        msg = f"an image of shape {image_dn.shape}, but {FEWEST_SIDE} samples each way are needed"
        raise ValueError(msg)
    blocks = _blocks(image_dn, full_scale_dn)
    kept = int(np.count_nonzero(blocks.is_whole))
    if not kept:
        msg = "every block has samples at a limit"
        raise ValueError(msg)
    mean = blocks.mean_dn[blocks.is_whole]
    levels = int(np.clip(kept // _BLOCKS_A_LEVEL, 1, _MOST_LEVELS))
    groups = np.array_split(np.argsort(mean, kind="stable"), levels)
    second, scatter = _smoothest(blocks.second_dn2[blocks.is_whole], groups, _SECOND)
    first, _ = _smoothest(blocks.first_dn2[blocks.is_whole], groups, _FIRST)
    level_dn = np.array([mean[group].mean() for group in groups])
    noise_dn = np.sqrt(second)
    expected = np.interp(mean, level_dn, noise_dn) ** 2
    beyond = blocks.second_dn2[blocks.is_whole] > _quantile(_SECOND, _TEXTURED)[0] * expected
    return BlockNoise(
        level_dn=level_dn,
        noise_dn=noise_dn,
        noise_sd_dn=noise_dn / 2 * scatter,
        block_dn=blocks.mean_dn,
        textured_share=float(beyond.mean()),
        whiteness=float(np.sqrt(first.sum() / second.sum())) if second.sum() > 0 else 1.0,
        blocks=kept,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Blocks:
    """Mean of each block, its variance by second and by first differences, and whether it clips."""

    mean_dn: FloatArray
    second_dn2: FloatArray
    first_dn2: FloatArray
    is_whole: NDArray[np.bool_]


def _blocks(image_dn: Samples, full_scale_dn: int) -> _Blocks:
    """Look at all blocks, some rows of them at a time."""
    rows, columns = ((side - 2) // BLOCK for side in image_dn.shape)
    parts = []
    for top in range(0, rows, _CHUNK_BLOCKS):
        end = min(top + _CHUNK_BLOCKS, rows) * BLOCK
        raw = image_dn[top * BLOCK : end + 2, : columns * BLOCK + 2]
        values, inner = raw.astype(np.float64), raw[1:-1, 1:-1]
        first = np.diff(np.diff(values, axis=0), axis=1)
        second = np.diff(np.diff(first, axis=0), axis=1)
        clipped = (inner == 0) | (inner >= full_scale_dn)
        parts.append(
            (
                _block_mean(values[1:-1, 1:-1]),
                _block_mean(second**2) / _SECOND.squares,
                _block_mean(first[:-1, :-1] ** 2) / _FIRST.squares,
                _block_mean(clipped.astype(np.float64)) == 0,
            )
        )
    mean, second, first, is_whole = (np.concatenate(each) for each in zip(*parts, strict=True))
    return _Blocks(mean_dn=mean, second_dn2=second, first_dn2=first, is_whole=is_whole)


def _block_mean(values: FloatArray) -> FloatArray:
    rows, columns = (side // BLOCK for side in values.shape)
    return np.asarray(values.reshape(rows, BLOCK, columns, BLOCK).mean(axis=(1, 3)))


def _quantile(operator: _Operator, share: float) -> tuple[float, float]:
    """Give a quantile of the variance of blocks of noise, a gamma variable, and its density."""
    shape = BLOCK**2 / operator.alike / 2
    place = float(gamma.ppf(share, shape, scale=1 / shape))
    return place, float(gamma.pdf(place, shape, scale=1 / shape))


def _smoothest(
    variance_dn2: FloatArray, groups: list[NDArray[np.intp]], operator: _Operator
) -> tuple[FloatArray, FloatArray]:
    """
    Give the variance of the smoothest tenth of each group, the luck of being smoothest undone.

    The second value is its relative standard error, √(q(1-q)/n)/(f Q) of a quantile Q at which the
    density is f.
    """
    luck, density = _quantile(operator, SMOOTHEST)
    scatter = np.sqrt(SMOOTHEST * (1 - SMOOTHEST)) / (density * luck)
    found = np.array([np.quantile(variance_dn2[group], SMOOTHEST) / luck for group in groups])
    return found, scatter / np.sqrt([group.size for group in groups])
