"""
Which samples of a scan are looked at: all of a window, each or averaged in squares, or some.

A window of more samples than a page can take is averaged by area, over all its samples, where that
is soon done; else some are picked at equal distances. While something moves, few are picked.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, isfinite, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.forward.station import Station
from linesim.setup.errors import refuse

_LONGEST_SIDE = 2048
_FARTHEST_MM = 1e9
_MOST_SAMPLES = 1 << 20
"""Of a monochrome picture as it is sent; of one in colour half as many."""
_MOST_AVERAGED = 4 << 20
"""Samples that are averaged for it: about a second of work; our choice."""
_MOST_COARSE = 48_000
"""Samples of a picture that is there before an eye sees it flicker; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Visible:
    """What the page has room for."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float


def visible(given: object) -> Visible:
    """Read a window as the page asks for it."""
    names = ("left_mm", "top_mm", "width_mm", "height_mm")
    values: Mapping[str, Any] = given if isinstance(given, Mapping) else {}
    numbers = [values.get(name) for name in names]
    good = [
        float(each)
        for each in numbers
        if isinstance(each, int | float) and abs(each) < _FARTHEST_MM and isfinite(each)
    ]
    if len(good) < len(names) or min(good[2:]) <= 0:
        refuse(f"window: read {str(given)[:80]}; expected {', '.join(names)} as numbers")
    return Visible(left_mm=good[0], top_mm=good[1], width_mm=good[2], height_mm=good[3])


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Samples of a scan: one in ``step`` each way, or means over ``join`` each way of all."""

    first_line: int
    first_column: int
    lines: int
    columns: int
    step: int
    join: int = 1

    @property
    def line_numbers(self) -> NDArray[np.intp]:
        """Which lines."""
        return self.first_line + self.step * np.arange(self.lines)

    @property
    def column_numbers(self) -> NDArray[np.intp]:
        """Which columns."""
        return self.first_column + self.step * np.arange(self.columns)


def part(
    numbers: Station, lines: int, seen: Visible, colours: int, *, coarse: bool = False
) -> Part:
    """Choose the samples that lie in a window."""
    width = int(numbers.geometry.image_width_px)
    across_mm = float(numbers.geometry.object_pixel_x_um) / 1000
    along_mm = float(numbers.timing.line_advance_um) / 1000
    columns = _span(seen.left_mm / across_mm + width / 2, seen.width_mm / across_mm, width)
    rows = _span(seen.top_mm / along_mm, seen.height_mm / along_mm, lines)
    wide, tall = columns[1] - columns[0], rows[1] - rows[0]
    step, join = _grid(wide, tall, 1 if colours == 1 else 2, coarse=coarse)
    first_column, count_columns = _picked(*columns, step, join)
    first_line, count_lines = _picked(*rows, step, join)
    return Part(
        first_line=first_line,
        first_column=first_column,
        lines=min(count_lines, ceil((lines - first_line) / step)),
        columns=min(count_columns, ceil((width - first_column) / step)),
        step=step,
        join=join,
    )


def _grid(wide: int, tall: int, weight: int, *, coarse: bool) -> tuple[int, int]:
    """Choose how many samples are passed over, and how many are joined, each way."""
    count = wide * tall * weight
    if coarse:
        return max(1, ceil(sqrt(count / _MOST_COARSE))), 1
    side = max(1, ceil(max(wide, tall) / _LONGEST_SIDE), ceil(sqrt(count / _MOST_SAMPLES)))
    return (1, side) if count <= _MOST_AVERAGED else (side, 1)


def _span(start: float, length: float, size: int) -> tuple[int, int]:
    """Give first and one past the last of the samples that a window touches; at least one."""
    first = min(max(int(np.floor(start)), 0), size - 1)
    last = min(max(int(np.ceil(start + length)), first + 1), size)
    return first, last


def _picked(first: int, last: int, step: int, join: int) -> tuple[int, int]:
    """Start on the grid of squares, at or before the first sample; end on it at or behind."""
    side = step * join
    start = first // side * side
    return start, ceil((last - start) / side) * join
