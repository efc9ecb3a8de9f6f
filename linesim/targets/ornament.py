"""The printed ornament of the decorated tile, an own design, as exact or anti-aliased shapes."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from linesim.setup.arrays import ImageArray
from linesim.targets.coverage import HALF_DIAGONAL_PX, half_plane

Colour = tuple[float, float, float]

GLAZE: Colour = (0.74, 0.69, 0.59)
COBALT: Colour = (0.04, 0.075, 0.25)
OCHRE: Colour = (0.60, 0.34, 0.06)
LEAF: Colour = (0.07, 0.22, 0.11)
TERRACOTTA: Colour = (0.45, 0.14, 0.07)
LINE_RED: Colour = (0.55, 0.045, 0.04)
LINE_GREEN: Colour = (0.05, 0.36, 0.09)
LINE_BLUE: Colour = (0.04, 0.10, 0.52)
"""Linear reflectances (red, green, blue) of the ground and of the printed colours."""

FACE_HALF_MM = 36.0
"""Half the side of a tile's face. [mm]"""

_FINE_MM = 0.4  # width of the fine coloured lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A printed shape as the distance from its edge."""

    # shape (rows, columns); distance of each pixel's centre from the edge, positive inside [px]
    inside_px: ImageArray
    normal_x: ImageArray  # shape (rows, columns); unit normal of the edge nearby
    normal_y: ImageArray

    def share(self, grown_px: float = 0.0) -> ImageArray:
        """Give the share of each pixel that the shape covers."""
        inside_px = self.inside_px + np.float32(grown_px)
        covered = (inside_px > 0).astype(np.float32)
        rim = np.nonzero(np.abs(inside_px) < HALF_DIAGONAL_PX)
        covered[rim] = half_plane(inside_px[rim], self.normal_x[rim], self.normal_y[rim])
        return covered

    def outline(self, width_px: float) -> ImageArray:
        """Give the share of each pixel on a line along the shape's edge."""
        return self.share(width_px / 2) - self.share(-width_px / 2)


def ornament(
    u_mm: ImageArray, v_mm: ImageArray, pixel_mm: float
) -> list[tuple[ImageArray, Colour]]:
    """Draw the ornament of one tile; all tiles carry the same."""
    # The ornament is the same in all four quarters of a tile.
    u_mm, v_mm = np.abs(u_mm), np.abs(v_mm)
    fine_px = _FINE_MM / pixel_mm
    return [
        *_frames(u_mm, v_mm, pixel_mm),
        *_rings(u_mm, v_mm, pixel_mm),
        *_rosette(u_mm, v_mm, pixel_mm),
        *_leaf(u_mm, v_mm, pixel_mm),
        *_corner(u_mm, v_mm, pixel_mm),
        (_disc(u_mm, v_mm, 27.5, 0.0, 3.1, pixel_mm).outline(fine_px), COBALT),
        (_disc(u_mm, v_mm, 0.0, 27.5, 3.1, pixel_mm).outline(fine_px), COBALT),
        (_disc(u_mm, v_mm, 27.5, 0.0, 2.0, pixel_mm).share(), OCHRE),
        (_disc(u_mm, v_mm, 0.0, 27.5, 2.0, pixel_mm).share(), OCHRE),
    ]


def _frames(u: ImageArray, v: ImageArray, pixel_mm: float) -> list[tuple[ImageArray, Colour]]:
    """Three fine square frames: straight lines across and along travel."""
    away = np.maximum(u, v)
    across = (u > v).astype(np.float32)
    return [
        (
            Shape(
                inside_px=(np.float32(side_mm) - away) / np.float32(pixel_mm),
                normal_x=across,
                normal_y=1 - across,
            ).outline(_FINE_MM / pixel_mm),
            colour,
        )
        for side_mm, colour in ((31.8, LINE_RED), (32.8, LINE_GREEN), (33.8, LINE_BLUE))
    ]


def _rings(u: ImageArray, v: ImageArray, pixel_mm: float) -> list[tuple[ImageArray, Colour]]:
    """Three fine circles: lines in every direction."""
    middle = _disc(u, v, 0.0, 0.0, 18.0, pixel_mm)
    step_px, half_px = 1.0 / pixel_mm, _FINE_MM / pixel_mm / 2
    return [
        (middle.share(place * step_px + half_px) - middle.share(place * step_px - half_px), colour)
        for place, colour in ((-1, LINE_RED), (0, LINE_GREEN), (1, LINE_BLUE))
    ]


def _rosette(u: ImageArray, v: ImageArray, pixel_mm: float) -> list[tuple[ImageArray, Colour]]:
    """Eight petals about the middle, outlined, with a heart."""
    flower = _petals(u, v, pixel_mm, 8)
    return [
        (flower.share(), LEAF),
        (flower.outline(0.5 / pixel_mm), COBALT),
        (_disc(u, v, 0.0, 0.0, 4.4, pixel_mm).share(), COBALT),
        (_disc(u, v, 0.0, 0.0, 3.9, pixel_mm).share(), OCHRE),
        (_disc(u, v, 0.0, 0.0, 1.5, pixel_mm).share(), GLAZE),
    ]


def _petals(u: ImageArray, v: ImageArray, pixel_mm: float, count: int) -> Shape:
    """Inside of rho = 10.4 + 3.8 cos(count phi), the distance to first order f/|grad f|."""
    rho = np.maximum(np.hypot(u, v), np.float32(pixel_mm) / 2)
    phi = np.arctan2(v, u)
    lift = 10.4 + 3.8 * np.cos(count * phi) - rho
    turn = 3.8 * count * np.sin(count * phi) / rho  # -(df/dphi)/rho, with df/drho = -1
    steep = np.hypot(1, turn)
    return Shape(
        inside_px=lift / (steep * pixel_mm),
        normal_x=(u - turn * v) / (rho * steep),
        normal_y=(v + turn * u) / (rho * steep),
    )


def _leaf(u: ImageArray, v: ImageArray, pixel_mm: float) -> list[tuple[ImageArray, Colour]]:
    """Draw a leaf on the diagonal, where two discs overlap, with a fine midrib."""
    middle_mm, half_length_mm, half_width_mm = 28.6, 6.9, 2.9
    radius_mm = (half_length_mm**2 + half_width_mm**2) / (2 * half_width_mm)
    shift_mm = (radius_mm - half_width_mm) / sqrt(2)
    place_mm = middle_mm / sqrt(2)
    one = _disc(u, v, place_mm + shift_mm, place_mm - shift_mm, radius_mm, pixel_mm)
    two = _disc(u, v, place_mm - shift_mm, place_mm + shift_mm, radius_mm, pixel_mm)
    leaf = np.minimum(one.share(), two.share())
    across = (u - v) / (np.float32(sqrt(2)) * pixel_mm)
    diagonal = np.full_like(u, sqrt(0.5))
    rib = Shape(
        inside_px=0.2 / pixel_mm - np.abs(across), normal_x=diagonal, normal_y=diagonal
    ).share()
    return [(leaf, TERRACOTTA), (rib * leaf, GLAZE)]


def _corner(u: ImageArray, v: ImageArray, pixel_mm: float) -> list[tuple[ImageArray, Colour]]:
    """Draw a quarter of a medallion; four tiles make a whole one."""
    rings = ((14.6, COBALT), (12.9, GLAZE), (12.3, COBALT), (9.2, OCHRE), (7.4, COBALT))
    layers = [
        (_disc(u, v, FACE_HALF_MM, FACE_HALF_MM, radius_mm, pixel_mm).share(), colour)
        for radius_mm, colour in rings
    ]
    bead_mm = FACE_HALF_MM - 10.7 * sqrt(0.5)
    near, far = FACE_HALF_MM - 10.7 * 0.9239, FACE_HALF_MM - 10.7 * 0.3827  # cos, sin of 22.5°
    places = ((bead_mm, bead_mm), (near, far), (far, near))
    layers += [(_disc(u, v, x, y, 0.75, pixel_mm).share(), GLAZE) for x, y in places]
    return [*layers, (_disc(u, v, FACE_HALF_MM, FACE_HALF_MM, 4.0, pixel_mm).share(), TERRACOTTA)]


def _disc(
    u: ImageArray, v: ImageArray, x_mm: float, y_mm: float, radius_mm: float, pixel_mm: float
) -> Shape:
    x, y = u - np.float32(x_mm), v - np.float32(y_mm)
    rho = np.maximum(np.hypot(x, y), np.float32(1e-6))
    return Shape(inside_px=(radius_mm - rho) / pixel_mm, normal_x=x / rho, normal_y=y / rho)
