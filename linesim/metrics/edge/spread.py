"""The edge spread: pixels projected on the edge's normal and averaged in bins (ISO 12233)."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.metrics.edge.line import EdgeLine
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse

if TYPE_CHECKING:
    from scipy.interpolate import BSpline


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeSpread:
    """Oversampled edge spread along the normal, rising."""

    position_px: FloatArray  # shape (bins,); middle of each bin, 0 on the edge's line [px]
    # shape (bins,); mean of the image over each bin's width, in the image's units
    value: FloatArray
    bins_per_pixel: int  # bins a pixel
    bin_noise: float  # standard deviation of one value, from the pixels' noise
    # standard deviation of one pixel on the flat sides, from the differences of neighbours
    noise: float

    @property
    def half_width_px(self) -> float:
        """Reach to each side of the edge. [px]."""
        return 0.5 * self.position_px.size / self.bins_per_pixel

    @property
    def levels(self) -> tuple[float, float]:
        """Dark and bright level: means over the outer quarter of each side."""
        outer = max(1, self.value.size // 8)
        return float(self.value[:outer].mean()), float(self.value[-outer:].mean())

    @property
    def step(self) -> float:
        """Bright minus dark level."""
        dark, bright = self.levels
        return bright - dark

    def central(self, half_width_px: float) -> "EdgeSpread":
        """Keep the bins near the edge."""
        keep = np.abs(self.position_px) < half_width_px
        return replace(self, position_px=self.position_px[keep], value=self.value[keep])


def gather_spread(
    image: FloatArray, line: EdgeLine, cosine: float, bins_per_pixel: int
) -> EdgeSpread:
    """Project pixels on the edge's normal and average them in bins."""
    rows = np.arange(line.first_row, line.last_row, dtype=float)
    middle = line.columns(rows)
    reach = cosine * float(np.minimum(middle, image.shape[1] - 1 - middle).min())
    half = int(reach * bins_per_pixel)
    distance = cosine * (np.arange(float(image.shape[1])) - middle[:, None])
    values = image[line.first_row : line.last_row]
    place = (distance * bins_per_pixel + half).ravel()
    inside = (place >= 0) & (place < 2 * half)
    value, count = _bin_means(place[inside], values.ravel()[inside], 2 * half)
    noise = _pixel_noise(values, np.abs(distance) > 0.7 * reach)
    return EdgeSpread(
        position_px=(np.arange(2 * half) + 0.5 - half) / bins_per_pixel,
        value=value if value[-half // 4 :].mean() >= value[: half // 4].mean() else value[::-1],
        bins_per_pixel=bins_per_pixel,
        bin_noise=noise / float(np.sqrt(count.mean())),
        noise=noise,
    )


def box_spline(value: FloatArray) -> "BSpline":
    """Smooth curve whose mean over each bin is the bin's value."""
    running = np.concatenate([np.zeros_like(value[:1]), np.cumsum(value, axis=0)])
    places = np.arange(len(running), dtype=float)
    return scipy.interpolate.make_interp_spline(places, running, k=5).derivative()


def _bin_means(place: FloatArray, values: FloatArray, bins: int) -> tuple[FloatArray, FloatArray]:
    """
    Bin means as if the pixels lay evenly over each bin, and the number of pixels in each.

    The rows meet the edge at a limited number of phases (nine for a tangent of 1/9), so that the
    plain mean of a bin belongs to wherever its pixels happen to lie. What a smooth curve through
    the means says about this (its mean over the bin less its mean over the pixels) is added.
    """
    index = place.astype(np.int64)
    count = np.bincount(index, minlength=bins).astype(float)
    if not count.all():
        refuse(
            f"edge: {np.count_nonzero(count == 0)} of {bins} bins across the edge hold no pixel; "
            "expected a longer edge, fewer bins_per_pixel, or an angle whose tangent is no simple "
            "fraction"
        )
    plain = np.bincount(index, values, bins) / count
    mean = plain
    for _ in range(3):
        mean = plain + mean - np.bincount(index, box_spline(mean)(place), bins) / count
    return mean, count


def _pixel_noise(values: FloatArray, flat: NDArray[np.bool_]) -> float:
    """Noise of one pixel on the flat sides; neighbours along the edge see the same true value."""
    change = np.diff(values, axis=0)[flat[1:] & flat[:-1]]
    return float(np.sqrt(0.5 * np.mean(change**2)))
