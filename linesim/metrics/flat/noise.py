"""Signal, noise and fixed pattern read off images of an even target, by EMVA 1288."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.flat.tally import ColumnSums, HeldRows, tally
from linesim.setup.arrays import FloatArray

FEWEST_LINES = 16
FEWEST = (2, 3, 3)
"""Frames, lines and columns without which variances cannot be told apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatFigures:
    """What an even target shows."""

    mean_dn: float
    temporal_noise_dn: float  # standard deviation along travel, column by column [DN]
    # standard deviation of all samples, columns' own differences included [DN]
    total_noise_dn: float


def flat_figures(image_dn: NDArray[np.uint16]) -> FlatFigures:
    """
    Read signal and noise off an image of an even target.

    A line-scan camera shows its fixed pattern as columns, so the variance along each column is
    temporal, and the standard treats lines as frames (EMVA 1288 R4.0 RC (March 2021), section 4.3).
    """
    if image_dn.shape[0] < FEWEST_LINES:
        msg = f"{image_dn.shape[0]} lines, but at least {FEWEST_LINES} are needed"
        raise ValueError(msg)
    return summed_figures(tally(HeldRows(image_dn=image_dn), np.iinfo(np.uint16).max).columns)


def summed_figures(sums: ColumnSums) -> FlatFigures:
    """Give the same of an image whose samples have been added up."""
    return FlatFigures(
        mean_dn=sums.mean_dn(),
        temporal_noise_dn=float(np.sqrt(sums.column_variance_dn2())),
        total_noise_dn=float(np.sqrt(sums.variance_dn2())),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A figure and how well it is known."""

    value: float  # the figure, in the unit that the holder's name gives
    # Its standard error from temporal noise, in the same unit: another look at the same camera
    # spreads so. Another camera of the make spreads more.
    sd: float

    def root(self) -> "Estimate":
        """
        Give the standard deviation of a variance; 0 where that scatters below 0.

        Near 0 a root scatters to one side: judge by the variance whether there is anything at all.
        """
        value = float(np.sqrt(max(self.value, 0.0)))
        # √(v + δ) lies within δ/2√v of √v, and within √δ where v is next to nothing
        spread = self.sd / max(2 * value, np.sqrt(self.sd)) if self.sd > 0 else 0.0
        return Estimate(value=value, sd=float(spread))

    def less(self, other: "Estimate") -> "Estimate":
        """Difference of two that know nothing of one another."""
        return Estimate(value=self.value - other.value, sd=float(np.hypot(self.sd, other.sd)))

    def over(self, other: "Estimate") -> "Estimate":
        """Ratio of two that know nothing of one another."""
        ratio = self.value / other.value
        return Estimate(
            value=ratio, sd=float(np.hypot(self.sd, ratio * other.sd) / abs(other.value))
        )


class Split(NamedTuple):
    """A spatial figure and its parts by direction."""

    total: Estimate
    row: Estimate
    column: Estimate
    pixel: Estimate

    def each(self, change: Callable[[Estimate], Estimate]) -> "Split":
        """Change every part alike."""
        return Split(*map(change, self))

    def less(self, other: "Split") -> "Split":
        """Take the parts of another off."""
        return Split(*(part.less(off) for part, off in zip(self, other, strict=True)))


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameFigures:
    """What some frames of the same light show."""

    mean_dn: Estimate
    temporal_dn2: Estimate
    # variance of the fixed pattern; scatters around 0, below it too, where there is none [DN²]
    spatial_dn2: Split


def frame_figures(frames_dn: NDArray[np.generic]) -> FrameFigures:
    """
    Read mean, temporal and spatial variance off frames of the same light.

    Lines of a line-scan camera count as rows of a frame. From two frames, the temporal variance is
    that of (18), drift of the frame's mean taken off. Spatial variances are those of the mean
    frame, less what temporal noise leaves in it and in its row and column averages, and are split
    into row, column and pixel. A variance from n differences is known to √(2/n) of itself (19).

    Parameters
    ----------
    frames_dn : ndarray of shape (frames, lines, columns)
        Two of three lines and columns or more. [DN]

    Raises
    ------
    ValueError; where there are fewer

    References
    ----------
    EMVA 1288 R4.0 RC (March 2021), (18), (19), (33) to (44), and section 4.3 for line-scan cameras.
    """
    if frames_dn.ndim != len(FEWEST) or np.less(frames_dn.shape, FEWEST).any():
        msg = f"frames of shape {frames_dn.shape}, but at least {FEWEST} is needed"
        raise ValueError(msg)
    frames = np.asarray(frames_dn, dtype=np.float64)
    count, size = len(frames), frames[0].size
    mean = frames.mean(axis=0)
    drift = frames.mean(axis=(1, 2), keepdims=True) - mean.mean()
    degrees = (count - 1) * size
    temporal = float(((frames - mean - drift) ** 2).sum() / degrees)
    seen = Estimate(value=temporal, sd=temporal * np.sqrt(2 / degrees))
    return FrameFigures(
        mean_dn=Estimate(value=float(mean.mean()), sd=np.sqrt(temporal / (count * size))),
        temporal_dn2=seen,
        spatial_dn2=_split(mean, Estimate(value=temporal / count, sd=seen.sd / count)),
    )


def _split(mean_dn: FloatArray, left: Estimate) -> Split:
    """Split the variance of a mean frame in which so much temporal variance is left."""
    rows, columns = mean_dn.shape
    size = rows * columns
    rest = size - rows - columns
    total = float(mean_dn.var()) - left.value
    by_column = float(mean_dn.mean(axis=0).var()) - left.value / rows
    by_row = float(mean_dn.mean(axis=1).var()) - left.value / columns
    # averages of columns hold 1/rows of the pixels' variance, and the other way round: (44)
    pixel = size * (total - by_column - by_row) / rest
    pixel_sd = np.hypot(_variance_sd(pixel, left.value, size), left.sd)
    column_sd = np.hypot(_variance_sd(by_column, left.value / rows, columns), pixel_sd / rows)
    row_sd = np.hypot(_variance_sd(by_row, left.value / columns, rows), pixel_sd / columns)
    total_sd = np.hypot(_variance_sd(total, left.value, size), left.sd)
    return Split(
        total=Estimate(value=total, sd=float(total_sd)),
        row=Estimate(value=by_row - pixel / columns, sd=float(row_sd)),
        column=Estimate(value=by_column - pixel / rows, sd=float(column_sd)),
        pixel=Estimate(value=pixel, sd=float(pixel_sd)),
    )


def _variance_sd(pattern: float, noise: float, count: int) -> float:
    """Spread of the variance of so many values: a fixed pattern with known noise on it."""
    return float(np.sqrt((4 * max(pattern, 0.0) * noise + 2 * noise**2) / count))
