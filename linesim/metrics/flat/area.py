"""
What even areas show, by direction: noise in time, lines that vary as a whole, columns that differ.

A line camera sees its fixed pattern as columns and time as lines. One image tells the two apart
because every column is looked at again and again; two or more images of the same light do it
sample by sample, whatever the target shows in one place.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray

from linesim.metrics.flat.noise import FEWEST_LINES, Estimate
from linesim.setup.arrays import FloatArray

FEWEST_COLUMNS = 8
_BLOCK_SAMPLES = 1 << 21
_TREND_TERMS = 3
Samples = NDArray[np.unsignedinteger]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatArea:
    """What one area shows in one or more images of the same light."""

    images: int
    mean_dn: Estimate
    temporal_dn2: Estimate  # variance in time of one sample, of whole lines included [DN²]
    pixel_dn2: Estimate  # the same without what all samples of a line share [DN²]
    # variance in time that the samples of a line share; scatters around 0 where they share none
    # [DN²]
    line_dn2: Estimate
    column_dn2: Estimate  # variance between columns, noise taken off [DN²]
    pattern_dn2: Estimate  # the same without the columns' smooth trend [DN²]
    # peak to peak of the smooth trend (a parabola) across and along [DN]
    shading_dn: float
    drift_dn: float
    drift_dn2: float  # variance of the trend along travel, less what noise alone gives [DN²]
    # correlation of what is left with the next line and with the next column; 0 for noise
    correlation_y: float
    correlation_x: float
    correlation_sd: float

    @property
    def total_dn2(self) -> Estimate:
        """Variance in time and between columns together: what a single image shows."""
        both = self.temporal_dn2.value + self.column_dn2.value
        return Estimate(value=both, sd=float(np.hypot(self.temporal_dn2.sd, self.column_dn2.sd)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Deviations:
    """Sums over what is left of the samples once what is fixed is taken off."""

    samples: int
    rest: float
    of_lines: FloatArray
    along: float
    across: float
    pairs_along: int
    pairs_across: int

    @property
    def shared(self) -> float:
        """Sum of squares that the samples of a line share."""
        return self.samples / self.of_lines.size * float((self.of_lines**2).sum())


def flat_area(frames_dn: Sequence[Samples]) -> FlatArea:
    """
    Read mean, noise in time and column pattern off images of an even area.

    From one image, variances are taken along travel, column by column, as the standard takes the
    lines of a line camera for frames. From K images the temporal variance is that of their
    differences, drift of an image's mean taken off: for two, (18). Both split by line (analysis of
    variance): lines of N samples have mean squares N σ²_line + σ²_pixel, what is left has σ²_pixel.
    A mean square of ν degrees of freedom is known to √(2/ν) (19).

    Parameters
    ----------
    frames_dn : sequence of ndarray of shape (lines, columns)
        One or more images of one channel, at least 16 lines of 8 columns, all of one shape. [DN]

    Raises
    ------
    ValueError; too small, or shapes that differ

    References
    ----------
    EMVA 1288 R4.0 RC (March 2021), (18), (19), (33) to (44), and section 4.3 for line-scan cameras.
    """
    shape = _checked_shape(frames_dn)
    images, (lines, columns) = len(frames_dn), shape
    by_column = np.mean([each.mean(axis=0, dtype=np.float64) for each in frames_dn], axis=0)
    by_line = np.mean([each.mean(axis=1, dtype=np.float64) for each in frames_dn], axis=0)
    left = _deviations(frames_dn, by_column)
    repeats, steps = (images - 1, lines) if images > 1 else (1, lines - 1)
    line_degrees, rest_degrees = repeats * (lines - 1), repeats * steps * (columns - 1)
    shared, pixel = _mean_square(left.shared, line_degrees), _mean_square(left.rest, rest_degrees)
    whole, seen_lines = repeats * steps * columns, images * lines
    in_means = _scaled(pixel, 1 / seen_lines)
    across, along = trend(by_column), trend(by_line)
    by_chance_dn2 = (_TREND_TERMS - 1) * shared.value / (seen_lines * columns)
    return FlatArea(
        images=images,
        mean_dn=Estimate(
            value=float(by_column.mean()), sd=float(np.sqrt(shared.value / (seen_lines * columns)))
        ),
        temporal_dn2=Estimate(
            value=(left.shared + left.rest) / whole,
            sd=float(np.hypot(shared.sd * line_degrees, pixel.sd * rest_degrees)) / whole,
        ),
        pixel_dn2=pixel,
        line_dn2=_scaled(shared.less(pixel), 1 / columns),
        column_dn2=pattern_variance(by_column, in_means, columns - 1),
        pattern_dn2=pattern_variance(by_column - across, in_means, columns - _TREND_TERMS),
        shading_dn=float(np.ptp(across)),
        drift_dn=float(np.ptp(along)),
        drift_dn2=float(along.var()) - by_chance_dn2,
        correlation_y=_correlation(left.along, left.pairs_along, left, lines if images == 1 else 0),
        correlation_x=_correlation(left.across, left.pairs_across, left, columns),
        correlation_sd=float(1 / np.sqrt(whole)),
    )


def _checked_shape(frames_dn: Sequence[Samples]) -> tuple[int, int]:
    """Refuse what is too small or of several shapes."""
    shapes = {each.shape for each in frames_dn}
    if len(shapes) != 1:
        msg = f"images of shapes {sorted(shapes)}, but one shape is needed"
        raise ValueError(msg)
    (shape,) = shapes
    if len(shape) != 2 or shape[0] < FEWEST_LINES or shape[1] < FEWEST_COLUMNS:  # noqa: PLR2004 -- lines and columns
        msg = f"an area of shape {shape}, but {FEWEST_LINES} lines of {FEWEST_COLUMNS} are needed"
        raise ValueError(msg)
    return shape


def trend(values: FloatArray) -> FloatArray:
    """Fit a parabola to values at equal steps."""
    place = np.linspace(-1, 1, values.size)
    fitted = Polynomial.fit(place, values, _TREND_TERMS - 1, domain=(-1, 1))
    return np.asarray(fitted(place), dtype=np.float64)


def pattern_variance(values_dn: FloatArray, noise_dn2: Estimate, degrees: int) -> Estimate:
    """Give the variance of a fixed pattern on which known noise lies."""
    seen = float(((values_dn - values_dn.mean()) ** 2).sum()) / degrees
    noise, fixed = noise_dn2.value, max(seen - noise_dn2.value, 0.0)
    scatter = np.sqrt((4 * fixed * noise + 2 * noise**2) / degrees)
    return Estimate(value=seen - noise, sd=float(np.hypot(scatter, noise_dn2.sd)))


def _blocks(frames_dn: Sequence[Samples]) -> Iterator[FloatArray]:
    """Give the images together, some lines at a time, to bound the memory."""
    lines, columns = frames_dn[0].shape
    step = max(2, _BLOCK_SAMPLES // (columns * len(frames_dn)))
    for first in range(0, lines, step):
        yield np.stack([each[first : first + step] for each in frames_dn]).astype(np.float64)


def _deviations(frames_dn: Sequence[Samples], by_column: FloatArray) -> _Deviations:
    """Take off what is fixed: columns of one image, the mean image of several and their drift."""
    several = len(frames_dn) > 1
    means = np.array([each.mean(dtype=np.float64) for each in frames_dn])
    drift = (means - means.mean())[:, None, None]
    of_lines, sums, pairs = [], np.zeros(3), np.zeros(2, dtype=np.int64)
    for block in _blocks(frames_dn):
        varied = block - ((block.mean(axis=0) + drift) if several else by_column)
        of_lines.append(varied.mean(axis=2))
        varied -= of_lines[-1][:, :, None]
        sums[0] += np.vdot(varied, varied)
        sums[1] += np.vdot(varied[:, 1:], varied[:, :-1])
        sums[2] += np.vdot(varied[:, :, 1:], varied[:, :, :-1])
        pairs += varied[:, 1:].size, varied[:, :, 1:].size
    return _Deviations(
        samples=frames_dn[0].size * len(frames_dn),
        rest=float(sums[0]),
        of_lines=np.concatenate(of_lines, axis=1),
        along=float(sums[1]),
        across=float(sums[2]),
        pairs_along=int(pairs[0]),
        pairs_across=int(pairs[1]),
    )


def _mean_square(squares: float, degrees: int) -> Estimate:
    value = squares / degrees
    return Estimate(value=value, sd=float(value * np.sqrt(2 / degrees)))


def _scaled(of: Estimate, factor: float) -> Estimate:
    return Estimate(value=of.value * factor, sd=of.sd * factor)


def _correlation(products: float, pairs: int, left: _Deviations, fitted: int) -> float:
    """Correlate neighbours; taking a mean of n values off has made them -1/(n - 1) alike."""
    square = left.rest / left.samples
    return products / pairs / square + (1 / (fitted - 1) if fitted else 0.0) if square > 0 else 0.0
