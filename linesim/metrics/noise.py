"""Signal and noise read off an image of an even target, by EMVA 1288 with lines as frames."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FEWEST_LINES = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatFigures:
    """
    What an even target shows.

    Parameters
    ----------
    mean_dn : float
        Mean sample. [DN]
    temporal_noise_dn : float
        Standard deviation along travel, column by column. [DN]
    total_noise_dn : float
        Standard deviation of all samples, columns' own differences included. [DN]
    """

    mean_dn: float
    temporal_noise_dn: float
    total_noise_dn: float


def flat_figures(image_dn: NDArray[np.uint16]) -> FlatFigures:
    """
    Read signal and noise off an image of an even target.

    A line-scan camera shows its fixed pattern as columns, so the variance along each column is
    temporal, and the standard treats lines as frames (EMVA 1288 Release 4.0 Linear, section 4.3).

    Parameters
    ----------
    image_dn : ndarray of shape (lines, columns)
        At least 16 lines. [DN]

    Returns
    -------
    FlatFigures
        Mean and noise.

    Raises
    ------
    ValueError
        Where there are fewer lines.
    """
    if image_dn.shape[0] < FEWEST_LINES:
        msg = f"{image_dn.shape[0]} lines, but at least {FEWEST_LINES} are needed"
        raise ValueError(msg)
    return FlatFigures(
        mean_dn=float(image_dn.mean(dtype=np.float64)),
        temporal_noise_dn=float(np.sqrt(image_dn.var(axis=0, ddof=1, dtype=np.float64).mean())),
        total_noise_dn=float(image_dn.std(ddof=1, dtype=np.float64)),
    )
