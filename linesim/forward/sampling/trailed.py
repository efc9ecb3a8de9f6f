"""Lines that have a share of the charge of those before them."""

import numpy as np

from linesim.forward.sampling.along import TILE_LINES
from linesim.setup.arrays import FloatArray, ImageArray


def lines_before(lines: FloatArray, reach: int) -> FloatArray:
    """Give the numbers of some lines and of so many before each, filled to whole tiles."""
    wanted = np.unique(lines[:, None] - np.arange(reach + 1))
    tiles = np.unique(wanted // TILE_LINES)
    return np.asarray((tiles[:, None] * TILE_LINES + np.arange(TILE_LINES)).ravel())


def trailed(
    seen_e: ImageArray, needed: FloatArray, lines: FloatArray, shares: tuple[float, ...]
) -> ImageArray:
    """Give lines what those before them left, from the expected electrons of all that is needed."""
    out = np.zeros((len(lines), seen_e.shape[1]), dtype=np.float32)
    for late, share in enumerate(shares):
        out += np.float32(share) * seen_e[np.searchsorted(needed, lines - late)]
    return out
