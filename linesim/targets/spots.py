"""Many small round things on a block of rows, each covering exactly its own area."""

from dataclasses import dataclass

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import bell, disc
from linesim.targets.painted import Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class Spots:
    """
    Round things on a target.

    Parameters
    ----------
    x_mm, y_mm : ndarray of shape (n,)
        Their centres, from the upper left corner. [mm]
    radius_mm : ndarray of shape (n,)
        Their radii, or the standard deviations of soft ones. [mm]
    """

    x_mm: FloatArray
    y_mm: FloatArray
    radius_mm: FloatArray


def scatter(
    random: np.random.Generator, *, count: int, box_mm: tuple[float, float, float, float]
) -> tuple[FloatArray, FloatArray]:
    """Place points irregularly yet without crowding."""
    plastic = 1.3247179572447460  # the real root of x³ = x + 1
    start_x, start_y = random.random(2)
    index = np.arange(1, count + 1)
    left, top, right, bottom = box_mm
    x_mm = left + (right - left) * np.mod(start_x + index / plastic, 1)
    y_mm = top + (bottom - top) * np.mod(start_y + index / plastic**2, 1)
    return x_mm, y_mm


def blend_discs(
    image: ImageArray, spots: Spots, value: float | ImageArray, *, grid: Grid, first: int
) -> None:
    """Lay hard-edged discs over a block of rows."""
    index, share = _disc_shares(spots, grid=grid, first=first, rows=image.shape[0])
    flat = image.reshape(image.shape[0] * image.shape[1], *image.shape[2:])
    weight = share.astype(np.float32).reshape(-1, *(1,) * (flat.ndim - 1))
    flat[index] += weight * (np.float32(1) * value - flat[index])


def _disc_shares(
    spots: Spots, *, grid: Grid, first: int, rows: int
) -> tuple[np.ndarray, FloatArray]:
    """Flat index and covered share of every pixel that a disc touches; overlaps add up to 1."""
    x, y, radius = (part / grid.pixel_mm for part in (spots.x_mm, spots.y_mm, spots.radius_mm))
    met = (y + radius > first) & (y - radius < first + rows)
    x, y, radius = x[met], y[met], radius[met]
    reach = np.arange(int(np.ceil(2 * radius.max(initial=0))) + 1)
    column = np.floor(x - radius).astype(np.int64)[:, None, None] + reach
    row = np.floor(y - radius).astype(np.int64)[:, None, None] + reach[:, None]
    left, top = column - x[:, None, None], row - y[:, None, None]
    share = disc(left, top, radius[:, None, None])
    inside = (column >= 0) & (column < grid.columns) & (row >= first) & (row < first + rows)
    kept = inside & (share > 0)
    flat_index = ((row - first) * grid.columns + column)[kept]
    index, place = np.unique(flat_index, return_inverse=True)
    return index, np.minimum(np.bincount(place, weights=share[kept], minlength=index.size), 1)


def scale_bells(image: ImageArray, spots: Spots, change: float, *, grid: Grid, first: int) -> None:
    """Multiply a block of rows by 1 + change · exp(-r²/(2 s²)) about each of a few centres."""
    last = first + image.shape[0]
    places = np.stack([spots.x_mm, spots.y_mm, spots.radius_mm], axis=1) / grid.pixel_mm
    for x, y, sigma in places:
        reach = 4 * sigma + 1
        top, bottom = max(first, int(y - reach)), min(last, int(y + reach) + 1)
        left, right = max(0, int(x - reach)), min(grid.columns, int(x + reach) + 1)
        if top < bottom and left < right:
            share = np.outer(bell(y, sigma, top, bottom), bell(x, sigma, left, right))
            image[top - first : bottom - first, left:right] *= (1 + change * share).astype(
                np.float32
            )
