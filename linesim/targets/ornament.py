"""
The printed ornament of the decorated tile, an own design, as exact or anti-aliased shapes.

Each shape is worked out in its own box, and what the pixels on its edge have of it at them alone;
the others are inside or outside.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import sqrt

import numpy as np

from linesim.setup.arrays import ImageArray
from linesim.targets.coverage import HALF_DIAGONAL_PX, half_plane
from linesim.targets.joints import FACE_HALF_MM
from linesim.targets.quarter import Quarter, Where

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

_FINE_MM = 0.4  # width of the fine coloured lines
_INK = np.float32(0.96)  # what print hides of the ground

Layer = tuple[Where, ImageArray, Colour]
"""Which pixels a shape touches, the share of each that it covers, and its colour."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A printed shape as the distance from its edge, at some pixels."""

    # distance of each pixel's centre from the edge, positive inside [px]
    inside_px: ImageArray
    normal_x: ImageArray  # unit normal of the edge nearby
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


def lay(
    planes: ImageArray,
    where: Where,
    share: ImageArray,
    colour: Colour,
    grain: ImageArray | None = None,
) -> None:
    """Lay a colour over planes by its share of some pixels, perhaps with a grain of its own."""
    for plane, level in zip(planes, colour, strict=True):
        laid = np.float32(level) if grain is None else np.float32(level) * grain
        plane[where] += share * (laid - plane[where])


def lay_ornament(planes: ImageArray, quarter: Quarter, missing: ImageArray | None = None) -> None:
    """
    Print the ornament of a tile over its ground; all tiles carry the same, in each quarter.

    Planes, of red, green and blue, are changed in place; ``missing`` is the share of each pixel
    that took no print.
    """
    for where, share, colour in _ornament(quarter):
        printed = share if missing is None else share * (1 - missing[where])
        lay(planes, where, printed * _INK, colour)


def _ornament(quarter: Quarter) -> Iterator[Layer]:
    """Draw the layers from the lowest up."""
    yield from _frames(quarter)
    for step_mm, colour in ((-1, LINE_RED), (0, LINE_GREEN), (1, LINE_BLUE)):
        yield from _circle(quarter, (0.0, 0.0), 18.0, step_mm, colour)
    yield from _rosette(quarter)
    yield from _leaf(quarter)
    yield from _corner(quarter)
    for place in ((27.5, 0.0), (0.0, 27.5)):
        yield from _circle(quarter, place, 3.1, 0, COBALT)
    for place in ((27.5, 0.0), (0.0, 27.5)):
        yield from _solid(quarter, place, 2.0, OCHRE)


def _frames(quarter: Quarter) -> Iterator[Layer]:
    """Three fine square frames: straight lines across and along travel."""
    pixel_mm = quarter.pixel_mm
    reach_mm = _FINE_MM / 2 + pixel_mm
    for side_mm, colour in ((31.8, LINE_RED), (32.8, LINE_GREEN), (33.8, LINE_BLUE)):
        low, high = side_mm - reach_mm, side_mm + reach_mm
        beside = quarter.near((low, high), (0, high))
        # what lies in the corner has been drawn
        below = quarter.near((0, np.nextafter(np.float32(low), np.float32(0))), (low, high))
        for part in (each for each in (beside, below) if each):
            u, v = part.grid
            across = (u > v).astype(np.float32)
            inside_px = (np.float32(side_mm) - np.maximum(u, v)) / np.float32(pixel_mm)
            square = Shape(inside_px=inside_px, normal_x=across, normal_y=1 - across)
            yield part.where, square.outline(_FINE_MM / pixel_mm), colour


def _circle(
    quarter: Quarter, middle: tuple[float, float], radius_mm: float, step_mm: int, colour: Colour
) -> Iterator[Layer]:
    """Draw a fine circle, a step outside a radius."""
    pixel_mm = quarter.pixel_mm
    reach_mm = _FINE_MM / 2 + pixel_mm
    place_mm = radius_mm + step_mm
    part = quarter.about(middle, place_mm + reach_mm)
    if part is None:
        return
    where = part.between(middle, place_mm - reach_mm, place_mm + reach_mm)
    disc = _disc(part, where, middle, radius_mm)
    step_px, half_px = step_mm * (1.0 / pixel_mm), _FINE_MM / pixel_mm / 2
    share = disc.share(step_px + half_px) - disc.share(step_px - half_px)
    yield part.out(where), share, colour


def _solid(
    quarter: Quarter, middle: tuple[float, float], radius_mm: float, colour: Colour
) -> Iterator[Layer]:
    """Draw a disc."""
    part = quarter.about(middle, radius_mm + quarter.pixel_mm)
    if part is not None:
        yield part.where, _disc_share(part, middle, radius_mm), colour


def _disc_share(part: Quarter, middle: tuple[float, float], radius_mm: float) -> ImageArray:
    """Give the share of each pixel of a part that a disc covers."""
    least_mm, most_mm = radius_mm - part.pixel_mm, radius_mm + part.pixel_mm
    share = part.within(middle, least_mm).astype(np.float32)
    rim = part.between(middle, least_mm, most_mm)
    share[rim] = _disc(part, rim, middle, radius_mm).share()
    return share


def _disc(part: Quarter, where: Where, middle: tuple[float, float], radius_mm: float) -> Shape:
    """Look at a disc from some pixels."""
    u, v = part.at(where)
    x, y = u - np.float32(middle[0]), v - np.float32(middle[1])
    rho = np.maximum(np.hypot(x, y), np.float32(1e-6))
    return Shape(inside_px=(radius_mm - rho) / part.pixel_mm, normal_x=x / rho, normal_y=y / rho)


def _rosette(quarter: Quarter) -> Iterator[Layer]:
    """Eight petals about the middle, outlined, with a heart."""
    outline_mm = 0.5
    reach_mm = outline_mm / 2 + quarter.pixel_mm
    part = quarter.about((0.0, 0.0), _PETAL_MM + _PETALS_MM + reach_mm)
    if part is not None:
        lift_mm, steep2 = _roughly_petals(part)
        near = lift_mm**2 < np.float32(reach_mm**2) * steep2
        rows, columns = np.nonzero(near)
        rim = rows, columns
        flower = _petals(*part.at(rim), part.pixel_mm)
        share = (lift_mm > 0).astype(np.float32)
        share[rim] = flower.share()
        yield part.where, share, LEAF
        yield part.out(rim), flower.outline(outline_mm / part.pixel_mm), COBALT
    for radius_mm, colour in ((4.4, COBALT), (3.9, OCHRE), (1.5, GLAZE)):
        yield from _solid(quarter, (0.0, 0.0), radius_mm, colour)


_PETAL_MM, _PETALS_MM, _PETALS = 10.4, 3.8, 8


def _roughly_petals(part: Quarter) -> tuple[ImageArray, ImageArray]:
    """Give f of the petals and |grad f|² without angles, to tell which pixels are near the edge."""
    u, v = part.grid
    away2 = u * u + v * v
    cosine = (u * u - v * v) / np.maximum(away2, np.float32(1e-30))
    rho2 = np.maximum(away2, np.float32(part.pixel_mm / 2) ** 2)
    for _ in range(2):
        cosine = 2 * cosine * cosine - 1
    lift_mm = np.float32(_PETAL_MM) + np.float32(_PETALS_MM) * cosine - np.sqrt(rho2)
    sine2 = np.maximum(1 - cosine * cosine, 0)
    steep2 = 1 + np.float32((_PETALS_MM * _PETALS) ** 2) * sine2 / rho2
    return np.asarray(lift_mm, np.float32), np.asarray(steep2, np.float32)


def _petals(u: ImageArray, v: ImageArray, pixel_mm: float) -> Shape:
    """Inside of rho = 10.4 + 3.8 cos(8 phi), the distance to first order f/|grad f|."""
    rho = np.maximum(np.hypot(u, v), np.float32(pixel_mm) / 2)
    phi = np.arctan2(v, u)
    lift = _PETAL_MM + _PETALS_MM * np.cos(_PETALS * phi) - rho
    # -(df/dphi)/rho, with df/drho = -1
    turn = _PETALS_MM * _PETALS * np.sin(_PETALS * phi) / rho
    steep = np.hypot(1, turn)
    return Shape(
        inside_px=np.asarray(lift / (steep * pixel_mm), np.float32),
        normal_x=(u - turn * v) / (rho * steep),
        normal_y=(v + turn * u) / (rho * steep),
    )


def _leaf(quarter: Quarter) -> Iterator[Layer]:
    """Draw a leaf on the diagonal, where two discs overlap, with a fine midrib."""
    middle_mm, half_length_mm, half_width_mm = 28.6, 6.9, 2.9
    pixel_mm = quarter.pixel_mm
    radius_mm = (half_length_mm**2 + half_width_mm**2) / (2 * half_width_mm)
    shift_mm = (radius_mm - half_width_mm) / sqrt(2)
    place_mm = middle_mm / sqrt(2)
    # beyond its tips a pixel may be cut by both rims, and so further off than by one
    part = quarter.about((place_mm, place_mm), half_length_mm + 2 * pixel_mm)
    if part is None:
        return
    one = _disc_share(part, (place_mm + shift_mm, place_mm - shift_mm), radius_mm)
    two = _disc_share(part, (place_mm - shift_mm, place_mm + shift_mm), radius_mm)
    leaf = np.minimum(one, two)
    yield part.where, leaf, TERRACOTTA
    u, v = part.grid
    across = (u - v) / (np.float32(sqrt(2)) * pixel_mm)
    diagonal = np.full_like(across, sqrt(0.5))
    rib = Shape(
        inside_px=0.2 / pixel_mm - np.abs(across), normal_x=diagonal, normal_y=diagonal
    ).share()
    yield part.where, rib * leaf, GLAZE


def _corner(quarter: Quarter) -> Iterator[Layer]:
    """Draw a quarter of a medallion; four tiles make a whole one."""
    middle = (FACE_HALF_MM, FACE_HALF_MM)
    rings = ((14.6, COBALT), (12.9, GLAZE), (12.3, COBALT), (9.2, OCHRE), (7.4, COBALT))
    for radius_mm, colour in rings:
        yield from _solid(quarter, middle, radius_mm, colour)
    bead_mm = FACE_HALF_MM - 10.7 * sqrt(0.5)
    near, far = FACE_HALF_MM - 10.7 * 0.9239, FACE_HALF_MM - 10.7 * 0.3827  # cos, sin of 22.5°
    for place in ((bead_mm, bead_mm), (near, far), (far, near)):
        yield from _solid(quarter, place, 0.75, GLAZE)
    yield from _solid(quarter, middle, 4.0, TERRACOTTA)
