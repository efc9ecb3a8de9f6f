"""Places for the labels of a drawing, so that they lie neither on each other nor on its lines."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from linesim.setup.arrays import FloatArray

TEXT_PX = 14.0
"""Size of the letters."""
LETTER_PX = 7.8
"""Width of a letter: above the mean of common faces at that size; our choice."""
_ASCENT, _DESCENT = 0.8, 0.25
_CLEAR_PX = 3.0
_STEPS_PX = (0.0, 8.0, 16.0, 26.0, 38.0, 52.0, 68.0)
_SIDES = (
    (0, -1), (1, 0), (-1, 0), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1),
)  # fmt: skip
_ON_LABEL, _OUTSIDE, _ASTRAY, _ON_LINE, _FAR = 1e6, 1e5, 1e3, 40.0, 1.0

Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """The room that a label takes, from its upper left corner. [px]."""

    left_px: float
    top_px: float
    right_px: float
    bottom_px: float

    def held(self, points: FloatArray) -> int:
        """Count the points that lie in it, or hardly beside it; one a row."""
        low = np.array([self.left_px, self.top_px]) - _CLEAR_PX
        high = np.array([self.right_px, self.bottom_px]) + _CLEAR_PX
        return int(((points >= low) & (points <= high)).all(axis=1).sum())

    def meets(self, other: "Box") -> bool:
        """Say whether two boxes overlap."""
        beside = self.right_px <= other.left_px or other.right_px <= self.left_px
        return not (beside or self.bottom_px <= other.top_px or other.bottom_px <= self.top_px)

    def within(self, other: "Box") -> bool:
        """Say whether it lies in another."""
        return (
            other.left_px <= self.left_px
            and other.top_px <= self.top_px
            and self.right_px <= other.right_px
            and self.bottom_px <= other.bottom_px
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """
    Words, where the middle of them would best be [px], and on which side of the level there.

    The side is -1 for above, 1 for below, 0 for either.
    """

    words: str
    at: Point
    side: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Words and their room."""

    words: str
    box: Box

    @property
    def foot(self) -> Point:
        """Middle of the base line. [px]."""
        return (self.box.left_px + self.box.right_px) / 2, self.box.top_px + _ASCENT * TEXT_PX


def box_about(words: str, middle: Point) -> Box:
    """Give the room of words about a place."""
    wide, tall = LETTER_PX * len(words), (_ASCENT + _DESCENT) * TEXT_PX
    left, top = middle[0] - wide / 2, middle[1] - tall / 2
    return Box(left_px=left, top_px=top, right_px=left + wide, bottom_px=top + tall)


def placed(labels: Sequence[Label], lines: FloatArray, frame: Box) -> tuple[Placed, ...]:
    """Place labels one after the other, each where it costs least, off the points of lines."""
    found: list[Placed] = []
    for label in labels:
        boxes = [box_about(label.words, middle) for middle in _candidates(label)]
        taken = [each.box for each in found]
        best = min(boxes, key=lambda box: _cost(box, label, (taken, lines, frame)))
        found.append(Placed(words=label.words, box=best))
    return tuple(found)


def _candidates(label: Label) -> list[Point]:
    """Give middles about a place on rings, near ones first."""
    wide = LETTER_PX * len(label.words) / 2
    tall = (_ASCENT + _DESCENT) * TEXT_PX / 2
    x, y = label.at
    return [
        (x + side_x * (wide + step), y + side_y * (tall + step))
        for step in _STEPS_PX
        for side_x, side_y in _SIDES
    ]


def _cost(box: Box, label: Label, around: tuple[Sequence[Box], FloatArray, Box]) -> float:
    taken, lines, frame = around
    middle = ((box.left_px + box.right_px) / 2, (box.top_px + box.bottom_px) / 2)
    return (
        _ON_LABEL * sum(box.meets(other) for other in taken)
        + _OUTSIDE * (not box.within(frame))
        + _ON_LINE * box.held(lines)
        + _ASTRAY * (label.side * middle[1] < 0)
        + _FAR * hypot(middle[0] - label.at[0], middle[1] - label.at[1])
    )
