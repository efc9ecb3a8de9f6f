"""
What good images look like in numbers: level, noise each way, columns, fineness.

Noise is what power there is near half the sampling rate, as if it were white: σ² is half the
density there, one-sided. Texture as fine as that counts as noise, of the set as of the real images,
so that the difference counts and not the figure itself; the spread of columns holds texture too.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.signal import welch

from linesim.setup.arrays import FloatArray

_ROBUST = 1.4826
"""Standard deviation of a normal value over its median absolute deviation."""
_SMOOTH_PX = 8.0
"""Standard deviation of what columns are held against; our choice. [px]."""
_SEGMENT = 64
_COARSE, _FINE, _FLOOR = (1 / 32, 1 / 12), (1 / 8, 1 / 4), (0.42, 0.49)
"""Bands, in cycles a sample: of texture, of texture that blur dims, and of noise alone."""
_SEEN = 0.5
"""Texture over noise from which fineness is told; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """One image, or a share of many, in numbers."""

    level_dn: float
    # noise and finest texture, along travel and across [DN]
    along_dn: float
    across_dn: float
    columns: float  # spread of columns about their neighbours, as a share of the level
    # power of fine texture over coarse, noise taken off; NaN where texture is not seen
    fine_along: float
    fine_across: float


def figures_of(image_dn: NDArray[np.uint16], black_dn: float) -> Figures:
    """Measure one image (lines, width), or (lines, width, 3) by the mean of its colours."""
    grey = image_dn.astype(np.float64) - black_dn
    grey = grey if grey.ndim == 2 else grey.mean(axis=2)  # noqa: PLR2004 -- no colours
    level = float(np.median(grey))
    means = grey.mean(axis=0)
    uneven = means - gaussian_filter1d(means, _SMOOTH_PX)
    # streaks of the columns are no noise, and would hide how sharp texture is across
    bands = [_bands(grey - uneven, axis) for axis in (0, 1)]
    noise = [float(np.sqrt(floor / 2)) for _, _, floor in bands]
    spread = (_ROBUST * float(np.median(np.abs(uneven)))) ** 2 - noise[0] ** 2 / len(grey)
    return Figures(
        level_dn=level,
        along_dn=noise[0],
        across_dn=noise[1],
        columns=float(np.sqrt(max(spread, 0.0))) / max(level, 1e-9),
        fine_along=_fineness(*bands[0]),
        fine_across=_fineness(*bands[1]),
    )


def _bands(grey: FloatArray, axis: int) -> tuple[float, float, float]:
    """Give the power density of coarse texture, of fine, and near half the sampling rate."""
    frequency, found = welch(
        grey, nperseg=min(_SEGMENT, grey.shape[axis]), axis=axis, detrend="constant"
    )
    power = np.asarray(found).mean(axis=1 - axis)
    coarse, fine, floor = (
        float(power[(frequency >= low) & (frequency <= high)].mean())
        for low, high in (_COARSE, _FINE, _FLOOR)
    )
    return coarse, fine, floor


def _fineness(coarse: float, fine: float, floor: float) -> float:
    """Hold fine texture against coarse, noise taken off, where it is seen."""
    return (fine - floor) / (coarse - floor) if fine - floor > _SEEN * floor else float("nan")


def shares(figures: list[Figures]) -> tuple[Figures, Figures, Figures]:
    """Give the 5th, 50th and 95th percentile of each figure; NaN where fewer than half tell it."""
    found: dict[str, list[float]] = {}
    for each in fields(Figures):
        values = np.array([getattr(one, each.name) for one in figures])
        known = values[np.isfinite(values)]
        enough = 2 * len(known) > len(values)
        percentiles = np.percentile(known, [5, 50, 95]) if enough else np.full(3, np.nan)
        found[each.name] = [float(value) for value in percentiles]
    low, middle, high = (Figures(**{name: v[k] for name, v in found.items()}) for k in range(3))
    return low, middle, high


def fine_sigma_px(sharper: float, softer: float) -> float:
    """
    Give the bell that turns one fineness into another.

    A Gaussian of σ samples dims power at f by exp(-(2πfσ)²), so that fine over coarse falls by
    exp(-4π²σ²(f_fine² - f_coarse²)), the f² those of the bands' middles.
    """
    squares = [(sum(band) / 2) ** 2 for band in (_FINE, _COARSE)]
    fall = np.log(sharper / softer) / (4 * np.pi**2 * (squares[0] - squares[1]))
    return float(np.sqrt(max(fall, 0.0)))
