"""
How much of each square pixel a shape covers: closed forms, no supersampling.

Positions are in pixels from the upper left corner of the target; pixel ``j`` reaches from
``j`` to ``j + 1``.
"""

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray

Floating = NDArray[np.floating]
HALF_DIAGONAL_PX = 0.7072
"""No pixel whose centre is further than this from an edge is cut by it. [px]"""

_LEAST_LEAN = 1e-4  # of a normal against the pixel grid: below, differences would lose digits
_TINY = 1e-30  # keeps 0/0 away where an edge is parallel to the pixel grid


def half_plane(
    distance_px: Floating, normal_x: Floating | float, normal_y: Floating | float
) -> Floating:
    """
    Share of a square pixel that lies on the inner side of a straight edge.

    With a >= b the two components of the unit normal, the edge cuts off a corner triangle
    of legs t/a and t/b, t = (a + b)/2 - |d| <= b, and beyond that a parallelogram.
    """
    across, along = np.abs(normal_x), np.abs(normal_y)
    a, b = np.maximum(across, along), np.minimum(across, along)
    depth_px = np.abs(distance_px)
    corner = np.clip(((a + b) / 2 - depth_px) / np.maximum(b, _TINY), 0, 1)
    outside = b * corner**2 / (2 * a) + np.maximum((a - b) / 2 - depth_px, 0) / a
    covered: Floating = np.where(distance_px > 0, 1 - outside, outside)
    return covered


def leaning_strip(away_px: Floating, slope: Floating, width_px: float) -> Floating:
    """Share of a square pixel that lies on a thin strip, exact where the strip is straight."""
    normal_x = 1 / np.hypot(1, slope)
    middle_px, normal_y = away_px * normal_x, slope * normal_x
    reached = half_plane(middle_px + width_px / 2, normal_x, normal_y)
    share: Floating = reached - half_plane(middle_px - width_px / 2, normal_x, normal_y)
    return share


def interval(start_px: FloatArray, stop_px: FloatArray, first: int, last: int) -> FloatArray:
    """Share of each pixel of a row (or column) that lies between two positions."""
    left = np.arange(first, last, dtype=np.float64)
    overlap = np.minimum(stop_px[:, None], left + 1) - np.maximum(start_px[:, None], left)
    total: FloatArray = np.maximum(overlap, 0).sum(axis=0)
    return total


def bell(centre_px: float, sigma_px: float, first: int, last: int) -> FloatArray:
    """Mean of exp(-(x - centre)²/(2 sigma²)) over each pixel of a row (or column)."""
    ends = (np.arange(first, last + 1, dtype=np.float64) - centre_px) / sigma_px
    means: FloatArray = np.sqrt(2 * np.pi) * sigma_px * np.diff(scipy.special.ndtr(ends))
    return means


def bowl(centre_px: float, sigma_px: float, first: int, last: int) -> FloatArray:
    """Mean of u² exp(-u²/2), u = (x - centre)/sigma, over each pixel of a row (or column)."""
    ends = (np.arange(first, last + 1, dtype=np.float64) - centre_px) / sigma_px
    reached = np.sqrt(2 * np.pi) * scipy.special.ndtr(ends) - ends * np.exp(-(ends**2) / 2)
    means: FloatArray = sigma_px * np.diff(reached)
    return means


def furrow(away_px: FloatArray, normal: tuple[float, float], sigma_px: float) -> FloatArray:
    """
    Mean of (1 - u²) exp(-u²/2), u = away/sigma, over each pixel: an endless furrow with shoulders.

    The profile is -sigma² g'' of the bell g, and the mean over a square is one over two lengths
    along the normal, those of the pixel's sides, so that only second differences of g are left.
    """
    across, along = (max(abs(part), _LEAST_LEAN) / 2 for part in normal)
    inner, outer = abs(across - along), across + along
    bells = [
        np.exp(-(((away_px + shift) / sigma_px) ** 2) / 2)
        for shift in (inner, -inner, outer, -outer)
    ]
    means: FloatArray = (bells[0] + bells[1] - bells[2] - bells[3]) * (
        sigma_px**2 / (4 * across * along)
    )
    return means


def _half_disc(x: FloatArray, radius: FloatArray | float) -> FloatArray:
    """Area under sqrt(r² - x²) from -r to x."""
    height = np.sqrt(np.maximum(radius**2 - x**2, 0))
    angle = np.arcsin(np.clip(x / radius, -1, 1))
    area: FloatArray = (x * height + radius**2 * (angle + np.pi / 2)) / 2
    return area


def _corner_area(x: FloatArray, y: FloatArray, radius: FloatArray | float) -> FloatArray:
    """Area of the disc about 0 that lies left of x and above y (both clipped to the disc)."""
    x, y = np.clip(x, -radius, radius), np.clip(y, -radius, radius)
    level = np.abs(y)
    reach = np.sqrt(radius**2 - level**2)  # where the circle crosses that level
    inner = np.clip(x, -reach, reach)
    under = (
        _half_disc(np.minimum(x, -reach), radius)
        + level * (inner + reach)
        + _half_disc(np.maximum(x, reach), radius)
        - _half_disc(reach, radius)
    )  # area under min(sqrt(r² - x²), |y|)
    area: FloatArray = _half_disc(x, radius) + np.sign(y) * under
    return area


def disc(left_px: FloatArray, top_px: FloatArray, radius_px: FloatArray | float) -> FloatArray:
    """
    Share of a square pixel that a disc covers, exact for any size of disc.

    Parameters
    ----------
    left_px, top_px : ndarray; left and upper side of the pixel, counted from the disc's centre [px]
    radius_px : ndarray or float; the three broadcast [px]
    """
    radius2 = np.square(radius_px)
    far2 = _farthest(left_px) ** 2 + _farthest(top_px) ** 2
    near2 = _nearest(left_px) ** 2 + _nearest(top_px) ** 2
    covered: FloatArray = (far2 <= radius2).astype(np.float64)
    cut = (near2 < radius2) & (far2 > radius2)  # by the rim: the only ones with arcs in them
    sides = (np.broadcast_to(each, cut.shape)[cut] for each in (left_px, top_px, radius_px))
    covered[cut] = _cut_share(*sides)
    return covered


def _farthest(side_px: FloatArray) -> FloatArray:
    """How far the farther side of a pixel is from 0. [px]."""
    return np.asarray(np.maximum(np.abs(side_px), np.abs(side_px + 1)))


def _nearest(side_px: FloatArray) -> FloatArray:
    """How far the nearer side of a pixel is from 0, which may lie within. [px]."""
    return np.asarray(np.maximum(np.maximum(side_px, -1 - side_px), 0))


def _cut_share(left_px: FloatArray, top_px: FloatArray, radius_px: FloatArray) -> FloatArray:
    """Share of pixels that the rim cuts."""
    right, bottom = left_px + 1, top_px + 1
    area = (
        _corner_area(right, bottom, radius_px)
        - _corner_area(left_px, bottom, radius_px)
        - _corner_area(right, top_px, radius_px)
        + _corner_area(left_px, top_px, radius_px)
    )
    return np.asarray(np.clip(area, 0, 1))
