"""Where the faces of tiles end: how far inside one a pixel is, worked out near the joints alone."""

from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import half_plane
from linesim.targets.painted import Grid

PITCH_MM = 75.0
"""From one tile to the next: a face of 72 mm and a joint of 3 mm. [mm]"""
FACE_HALF_MM = 36.0
"""Half the side of a tile's face. [mm]"""
CORNER_MM = 1.3
"""Radius of the corners of a face. [mm]"""

Part = tuple[slice, slice]
"""Rows and columns of a block."""


def within_tile(place_mm: FloatArray) -> ImageArray:
    """Count a place from the middle of its own tile."""
    return (np.mod(place_mm, PITCH_MM) - PITCH_MM / 2).astype(np.float32)


def middles_mm(first: int, last: int, pixel_mm: float) -> FloatArray:
    """Give the middles of some pixels of a row or column."""
    return (np.arange(first, last, dtype=np.float64) + 0.5) * pixel_mm


@lru_cache(maxsize=8)
def folded(count: int, pixel_mm: float) -> tuple[ImageArray, NDArray[np.intp]]:
    """Fold columns or rows into half a tile: distances from its middle, and which each has."""
    places = np.abs(within_tile(middles_mm(0, count, pixel_mm)))
    own, index = np.unique(places, return_inverse=True)
    return own, index


def ends_of_faces(
    grid: Grid, rows: tuple[int, int], margin_mm: float
) -> Iterator[tuple[Part, ImageArray, ImageArray]]:
    """
    Say near the joints how far inside a face's rounded square a pixel is, and what share of it.

    It is said up to ``margin_mm`` into a face, at least the corner's radius: of parts of a block of
    rows distances, negative outside [px], and shares, both of the part's shape, or of one row or
    one column where all of them are alike.
    """
    inner_mm = FACE_HALF_MM - max(margin_mm, grid.pixel_mm)
    u_mm = within_tile(middles_mm(0, grid.columns, grid.pixel_mm))
    v_mm = within_tile(middles_mm(*rows, grid.pixel_mm))
    middle = np.zeros(1, dtype=np.float32)
    for down, low in _runs(np.abs(v_mm) > inner_mm):
        for over, beside in _runs(np.abs(u_mm) > inner_mm):
            if low or beside:
                u, v = u_mm[over] if beside else middle, v_mm[down] if low else middle
                yield (down, over), *_face(u, v[:, None], grid.pixel_mm)


def _runs(chosen: NDArray[np.bool_]) -> Iterator[tuple[slice, bool]]:
    """Cut a row or column into runs that are chosen, or not."""
    ends = [0, *(np.flatnonzero(chosen[1:] != chosen[:-1]) + 1).tolist(), len(chosen)]
    for start, stop in pairwise(ends):
        if stop > start:
            yield slice(start, stop), bool(chosen[start])


def _face(u_mm: ImageArray, v_mm: ImageArray, pixel_mm: float) -> tuple[ImageArray, ImageArray]:
    """Say it of pixels by their places from the middle of a tile."""
    straight_mm = np.float32(FACE_HALF_MM - CORNER_MM)
    past_u, past_v = np.abs(u_mm) - straight_mm, np.abs(v_mm) - straight_mm
    corner_u, corner_v = np.maximum(past_u, 0), np.maximum(past_v, 0)
    round_mm = np.hypot(corner_u, corner_v)
    outside_mm = np.minimum(np.maximum(past_u, past_v), 0) + round_mm - np.float32(CORNER_MM)
    inside_px = -outside_mm / np.float32(pixel_mm)
    in_corner = round_mm > 0
    length_mm = np.where(in_corner, round_mm, 1)
    normal_u = np.where(in_corner, corner_u / length_mm, past_u > past_v)
    normal_v = np.where(in_corner, corner_v / length_mm, past_u <= past_v)
    share = half_plane(inside_px, normal_u, normal_v)
    return inside_px, share.astype(np.float32)
