"""Groups of three bars at right angles, after the spatial frequencies of MIL-STD-150A."""

from dataclasses import dataclass
from functools import partial
from math import ceil, floor, log2
from typing import Literal

import numpy as np

from linesim.forward.reference import Reference
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse
from linesim.targets.numerals import Box, numeral_boxes
from linesim.targets.painted import Grid, Painted, grid_of
from linesim.targets.spots import cover_boxes

LIGHT, DARK = 0.8, 0.05
"""Reflectance of the ground and of the bars."""

ELEMENTS = 6
"""Elements in a group; six of them halve the bar width."""

_SIDE = 40.0  # the layout needs a square of this many times the first bar width
_SECOND_SET, _NUMERAL, _NEXT_GROUP = 7.0, 13.5, 18.5  # places across, in bar widths
_FIRST_ELEMENT, _NEXT_ELEMENT = 5.0, 7.0  # places along, in bar widths
_SOLID = 12.0  # side of the solid square, in widths of the first bar
_FINEST_BAR_PX = 2.0  # a finer bar is no longer a bar on the reference grid


@dataclass(frozen=True, slots=True, kw_only=True)
class BarSet:
    """Three bars and where they lie."""

    # place in the series; element is 1 to 6
    group: int
    element: int
    frequency_lp_mm: float
    # the direction in which light and dark alternate, hence the response they tell
    alternates: Literal["across", "along"]
    # upper left corner of the square of the three bars, from that of the target [mm]
    x_mm: float
    y_mm: float

    @property
    def bar_width_mm(self) -> float:
        """Width of a bar and of a space, 1/(2 R). [mm]."""
        return 1 / (2 * self.frequency_lp_mm)

    @property
    def size_mm(self) -> float:
        """Side of the square that the three bars fill, five bar widths. [mm]."""
        return 5 * self.bar_width_mm

    @property
    def boxes(self) -> list[Box]:
        """The three bars as (left, top, right, bottom). [mm]."""
        step_mm = 2 * self.bar_width_mm
        right_mm, bottom_mm = self.x_mm + self.size_mm, self.y_mm + self.size_mm
        if self.alternates == "across":
            lefts_mm = [self.x_mm + step_mm * bar for bar in range(3)]
            return [(left, self.y_mm, left + step_mm / 2, bottom_mm) for left in lefts_mm]
        tops_mm = [self.y_mm + step_mm * bar for bar in range(3)]
        return [(self.x_mm, top, right_mm, top + step_mm / 2) for top in tops_mm]


@dataclass(frozen=True, slots=True, kw_only=True)
class BarLayout:
    """Everything on the bar target."""

    # from coarse to fine, the two directions of an element one after the other
    sets: tuple[BarSet, ...]
    # a plain dark square (left, top, right, bottom), the contrast at frequency zero [mm]
    solid: Box
    numerals: tuple[Box, ...]  # rectangles of the group and element numbers [mm]

    @property
    def boxes(self) -> list[Box]:
        """All dark rectangles; none overlaps another. [mm]."""
        return [self.solid, *self.numerals, *(box for bars in self.sets for box in bars.boxes)]


def bar_frequency_lp_mm(group: int, element: int) -> float:
    """Give the spatial frequency of an element: MIL-STD-150A, 5.1.1.7."""
    return float(2.0 ** (group + (element - 1) / ELEMENTS))


def bar_layout(
    *,
    pixel_size_um: float,
    width_mm: float,
    height_mm: float,
    first_group: int | None = None,
    last_group: int | None = None,
) -> BarLayout:
    """
    Tell where everything on the bar target lies.

    Left out, the group is the coarsest that fits, or the finest with 2 reference pixels to a bar.
    """
    grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
    first, last = _groups(grid, first_group, last_group)
    widest_mm = 0.5 / 2.0**first
    x_mm = (grid.width_mm - (_SIDE - 3) * widest_mm) / 2
    y_mm = (grid.height_mm - (_SIDE - 3) * widest_mm) / 2
    lefts_mm = [
        x_mm + _NEXT_GROUP * 2 * (widest_mm - 0.5 / 2.0**group) for group in range(first, last + 1)
    ]
    sets: list[BarSet] = []
    numerals: list[Box] = []
    for group, left_mm in zip(range(first, last + 1), lefts_mm, strict=True):
        group_sets, group_numerals = _group(group, left_mm, y_mm)
        sets += group_sets
        numerals += group_numerals
    corner_mm = (x_mm + 21.5 * widest_mm, y_mm + 22.5 * widest_mm)
    solid = (*corner_mm, corner_mm[0] + _SOLID * widest_mm, corner_mm[1] + _SOLID * widest_mm)
    return BarLayout(sets=tuple(sets), solid=solid, numerals=tuple(numerals))


def _groups(grid: Grid, first_group: int | None, last_group: int | None) -> tuple[int, int]:
    """First and last group, checked: with w = 1/(2 · 2^g), 40 w <= side, 2^(-5/6) w >= 2 px."""
    coarsest = ceil(log2(_SIDE / 2 / min(grid.width_mm, grid.height_mm)) - 1e-9)
    finest = floor(log2(0.5 / (_FINEST_BAR_PX * grid.pixel_mm)) - (ELEMENTS - 1) / ELEMENTS + 1e-9)
    size = f"{grid.width_mm:g} x {grid.height_mm:g} mm at {grid.pixel_size_um:g} um a pixel"
    if coarsest > finest:
        side_mm = _SIDE / 2 / 2.0**finest
        refuse(
            f"target.width, target.height: {size} hold no whole bar group, expected both above "
            f"{side_mm:g} mm, or a smaller pixel_size"
        )
    first = coarsest if first_group is None else first_group
    last = finest if last_group is None else last_group
    if not coarsest <= first <= last <= finest:
        refuse(f"bar groups: read {first} to {last}, but {size} hold groups {coarsest} to {finest}")
    return first, last


def _group(group: int, left_mm: float, top_mm: float) -> tuple[list[BarSet], list[Box]]:
    widest_mm = 0.5 / 2.0**group
    numerals = numeral_boxes(group, x_mm=left_mm, y_mm=top_mm, height_mm=3 * widest_mm)
    sets: list[BarSet] = []
    y_mm = top_mm + _FIRST_ELEMENT * widest_mm
    for element in range(1, ELEMENTS + 1):
        frequency_lp_mm = bar_frequency_lp_mm(group, element)
        width_mm = 1 / (2 * frequency_lp_mm)
        sets += [
            BarSet(
                group=group,
                element=element,
                frequency_lp_mm=frequency_lp_mm,
                alternates=alternates,
                x_mm=x_mm,
                y_mm=y_mm,
            )
            for alternates, x_mm in _places(left_mm, width_mm)
        ]
        numerals += numeral_boxes(
            element,
            x_mm=left_mm + _NUMERAL * width_mm,
            y_mm=y_mm + width_mm,
            height_mm=3 * width_mm,
        )
        y_mm += _NEXT_ELEMENT * width_mm
    return sets, numerals


def _places(
    left_mm: float, width_mm: float
) -> tuple[tuple[Literal["across", "along"], float], ...]:
    return (("across", left_mm), ("along", left_mm + _SECOND_SET * width_mm))


def bars(
    *,
    pixel_size_um: float,
    width_mm: float,
    height_mm: float,
    first_group: int | None = None,
    last_group: int | None = None,
) -> Reference:
    """
    Make a target of dark bars on a light ground, laid out as `bar_layout` tells.

    Each element is two sets of three bars at right angles, bars five widths long, spaces as wide as
    bars: MIL-STD-150A, 5.1.1.7 (cancelled in 2006, still the trade's series of frequencies).
    """
    grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
    layout = bar_layout(
        pixel_size_um=pixel_size_um,
        width_mm=width_mm,
        height_mm=height_mm,
        first_group=first_group,
        last_group=last_group,
    )
    return Painted(grid=grid, paint=partial(_paint, np.array(layout.boxes), grid))


def _paint(boxes: FloatArray, grid: Grid, first: int, last: int) -> ImageArray:
    image = np.full((last - first, grid.columns), LIGHT, dtype=np.float32)
    cover_boxes(image, boxes, DARK - LIGHT, grid=grid, first=first)
    return image
