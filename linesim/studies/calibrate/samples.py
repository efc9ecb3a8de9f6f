"""What the samples of a photograph can carry: ends of the scale, coarse steps, JPEG blocks."""

from dataclasses import dataclass

import numpy as np

from linesim.files.pixels import Codes
from linesim.setup.arrays import FloatArray

_BLOCK_PX = 8
"""Side of a JPEG block (ISO/IEC 10918-1)."""
_BLOCKY = 1.1
COARSE_STEP = 0.05
"""Share of the reflectance over which a step of the number counts as coarse; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """Samples at the ends of the scale."""

    share_lowest: float
    share_highest: float


def ends(codes: Codes, full_scale: int) -> Ends:
    """Count the samples at either end of the scale."""
    return Ends(
        share_lowest=float(np.mean(codes <= 0)), share_highest=float(np.mean(codes >= full_scale))
    )


def at_an_end(codes: Codes, full_scale: int) -> float:
    """Give the share of samples at either end."""
    found = ends(codes, full_scale)
    return found.share_lowest + found.share_highest


def blockiness(codes: Codes) -> float:
    """
    Compare steps between blocks of 8 with steps within them.

    Returns
    -------
    float; size of a step over every eighth border, over that elsewhere; about 1 where no blocks
    are. Of rows and of columns the median, so that a few true edges do not count.
    """
    grey = codes.astype(np.float32)
    grey = grey if grey.ndim == 2 else grey.mean(axis=2)  # noqa: PLR2004 -- rows, columns
    borders, others = 0.0, 0.0
    for image in (grey, grey.T):
        steps = np.abs(np.diff(image, axis=1)).mean(axis=0)
        is_border = np.arange(1, len(steps) + 1) % _BLOCK_PX == 0
        if not is_border.any() or is_border.all():
            return 1.0
        borders += float(np.median(steps[is_border]))
        others += float(np.median(steps[~is_border]))
    return borders / others if others > 0 else 1.0


def is_blocky(ratio: float) -> bool:
    """Tell whether blocks are to be seen."""
    return ratio > _BLOCKY


def coarse_below(levels: FloatArray) -> float:
    """
    Tell under which reflectance a step of the number is coarse.

    Parameters
    ----------
    levels : ndarray of shape (codes,); reflectance of each code of the scale, rising

    Returns
    -------
    float; 0 where none is
    """
    steps = np.diff(levels)
    coarse = levels[:-1] * COARSE_STEP < steps
    return float(levels[:-1][coarse].max()) if coarse.any() else 0.0
