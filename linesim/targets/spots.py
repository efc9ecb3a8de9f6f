"""Small things on a block of rows, each of exactly its own area, or of its own volume."""

from dataclasses import dataclass
from math import ceil, cos, floor, radians, sin

import numpy as np
import scipy

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import bell, bowl, disc, furrow, interval
from linesim.targets.painted import Grid
from linesim.targets.texture import Scene

_REACH = 6.0  # standard deviations at which a bell of height is cut off, 1.5e-8 of its middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Spots:
    """Round things on a target."""

    x_mm: FloatArray  # shape (n,); their centres, from the upper left corner [mm]
    y_mm: FloatArray
    radius_mm: FloatArray  # shape (n,); their radii, or the standard deviations of soft ones [mm]


Listed = tuple[float, float, float]
"""A spot: its place as shares of width and height, and its radius. [mm]"""


def spots_at(scene: Scene, listed: tuple[Listed, ...], scale: float = 1.0) -> Spots:
    """Lay out spots of a scene."""
    spots = np.array(listed)
    x_mm, y_mm = scene.at(spots[:, :2]).T
    return Spots(x_mm=x_mm, y_mm=y_mm, radius_mm=scale * spots[:, 2])


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


def cover_boxes(
    image: ImageArray, boxes: FloatArray, change: float, *, grid: Grid, first: int
) -> None:
    """Change a block of rows by the share of each pixel in boxes (left, top, right, bottom)."""
    last, boxes_px = first + image.shape[0], boxes / grid.pixel_mm
    met = (boxes_px[:, 3] > first) & (boxes_px[:, 1] < last)
    for left, top, right, bottom in boxes_px[met]:
        start, stop = max(first, floor(top)), min(last, ceil(bottom))
        begin, end = max(0, floor(left)), min(grid.columns, ceil(right))
        if begin >= end:
            continue
        down = interval(np.array([top]), np.array([bottom]), start, stop)
        over = interval(np.array([left]), np.array([right]), begin, end)
        share = np.outer(down, over).astype(np.float32)
        image[start - first : stop - first, begin:end] += np.float32(change) * share


@dataclass(frozen=True, slots=True, kw_only=True)
class Mounds:
    """Bells of height, or of depth where the height is below zero."""

    x_mm: FloatArray  # shape (n,); their middles, from the upper left corner [mm]
    y_mm: FloatArray
    across_mm: FloatArray  # shape (n,); their standard deviations [mm]
    along_mm: FloatArray
    height_um: FloatArray  # shape (n,); in the middle [µm]


def raise_mounds(
    heights: ImageArray, mounds: Mounds, *, grid: Grid, first: int, rimmed: bool = False
) -> None:
    """
    Add h exp(-q/2), q = x²/s² + y²/t², to a block of heights; rimmed: h (1 - q/2) exp(-q/2).

    A rimmed one has no volume: what is pushed out of a crater stands around it, 13.5 % as high.
    """
    last = first + heights.shape[0]
    sizes = (mounds.x_mm, mounds.y_mm, mounds.across_mm, mounds.along_mm)
    places = np.stack(sizes, axis=1) / grid.pixel_mm
    for (x, y, across, along), height in zip(places, mounds.height_um, strict=True):
        reach_x, reach_y = _REACH * across + 1, _REACH * along + 1
        top, bottom = max(first, int(y - reach_y)), min(last, int(y + reach_y) + 1)
        left, right = max(0, int(x - reach_x)), min(grid.columns, int(x + reach_x) + 1)
        if top >= bottom or left >= right:
            continue
        down, over = bell(y, along, top, bottom), bell(x, across, left, right)
        shape = np.outer(down, over)
        if rimmed:
            shape -= np.outer(bowl(y, along, top, bottom), over) / 2
            shape -= np.outer(down, bowl(x, across, left, right)) / 2
        heights[top - first : bottom - first, left:right] += (height * shape).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Groove:
    """A ploughed groove: as much stands in its shoulders as is missing in the middle."""

    x_mm: float  # its middle, from the upper left corner [mm]
    y_mm: float
    length_mm: float  # from end to end, and where it is below the level [mm]
    width_mm: float
    turn_deg: float  # from across, towards travel [deg]
    depth_um: float  # in the middle [µm]


def plough(heights: ImageArray, groove: Groove, *, grid: Grid, first: int) -> None:
    """Cut a groove into a block of heights; its ends are rounded over half its width."""
    sigma_px, half_px = (
        size_mm / 2 / grid.pixel_mm for size_mm in (groove.width_mm, groove.length_mm)
    )
    turn = radians(groove.turn_deg)
    cosine, sine = cos(turn), sin(turn)
    reach_px = half_px + _REACH * sigma_px + 2
    x, y = groove.x_mm / grid.pixel_mm, groove.y_mm / grid.pixel_mm
    wide, tall = (abs(part) * half_px + _REACH * sigma_px + 2 for part in (cosine, sine))
    rows = slice(max(first, int(y - tall)), min(first + heights.shape[0], int(y + tall) + 1))
    columns = slice(max(0, int(x - wide)), min(grid.columns, int(x + wide) + 1))
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return
    over = np.arange(columns.start, columns.stop) + 0.5 - x
    down = np.arange(rows.start, rows.stop)[:, None] + 0.5 - y
    away, along = down * cosine - over * sine, over * cosine + down * sine
    near = np.nonzero((np.abs(away) < _REACH * sigma_px + 1) & (np.abs(along) < reach_px))
    ends = scipy.special.ndtr((half_px - np.abs(along[near])) / sigma_px)
    cut = furrow(away[near], (sine, cosine), sigma_px) * ends
    part = heights[rows.start - first : rows.stop - first, columns]
    part[near] -= (groove.depth_um * cut).astype(np.float32)
