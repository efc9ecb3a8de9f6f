"""Numerals out of upright rectangles that do not overlap, so that their area is exact."""

Box = tuple[float, float, float, float]

# Seven strokes in a cell of 1 x 2, each (left, top, right, bottom) with stroke width 0.2.
_TOP, _MIDDLE, _BOTTOM = (0.0, 0.0, 1.0, 0.2), (0.0, 0.9, 1.0, 1.1), (0.0, 1.8, 1.0, 2.0)
_UPPER_LEFT, _UPPER_RIGHT = (0.0, 0.2, 0.2, 0.9), (0.8, 0.2, 1.0, 0.9)
_LOWER_LEFT, _LOWER_RIGHT = (0.0, 1.1, 0.2, 1.8), (0.8, 1.1, 1.0, 1.8)
# Where no middle stroke joins two side strokes, these fill the gap.
_LEFT_JOINT, _RIGHT_JOINT = (0.0, 0.9, 0.2, 1.1), (0.8, 0.9, 1.0, 1.1)
_RIGHT = (_UPPER_RIGHT, _RIGHT_JOINT, _LOWER_RIGHT)
_STROKES: dict[str, tuple[Box, ...]] = {
    "-": ((0.1, 0.9, 0.9, 1.1),),
    "0": (_TOP, _BOTTOM, _UPPER_LEFT, _LEFT_JOINT, _LOWER_LEFT, *_RIGHT),
    "1": ((0.4, 0.0, 0.6, 2.0),),
    "2": (_TOP, _UPPER_RIGHT, _MIDDLE, _LOWER_LEFT, _BOTTOM),
    "3": (_TOP, _UPPER_RIGHT, _MIDDLE, _LOWER_RIGHT, _BOTTOM),
    "4": ((0.0, 0.0, 0.2, 0.9), (0.8, 0.0, 1.0, 0.9), _MIDDLE, (0.8, 1.1, 1.0, 2.0)),
    "5": (_TOP, _UPPER_LEFT, _MIDDLE, _LOWER_RIGHT, _BOTTOM),
    "6": (_TOP, _UPPER_LEFT, _MIDDLE, _LOWER_LEFT, _LOWER_RIGHT, _BOTTOM),
    "7": (_TOP, _UPPER_RIGHT, _RIGHT_JOINT, (0.8, 1.1, 1.0, 2.0)),
    "8": (_TOP, _UPPER_LEFT, _UPPER_RIGHT, _MIDDLE, _LOWER_LEFT, _LOWER_RIGHT, _BOTTOM),
    "9": (_TOP, _UPPER_LEFT, _UPPER_RIGHT, _MIDDLE, _LOWER_RIGHT, _BOTTOM),
}
_ADVANCE = 1.4  # from one numeral to the next, in numeral widths


def numeral_boxes(number: int, *, x_mm: float, y_mm: float, height_mm: float) -> list[Box]:
    """Draw a whole number."""
    unit_mm = height_mm / 2
    return [
        (
            x_mm + unit_mm * (left + place * _ADVANCE),
            y_mm + unit_mm * top,
            x_mm + unit_mm * (right + place * _ADVANCE),
            y_mm + unit_mm * bottom,
        )
        for place, character in enumerate(str(number))
        for left, top, right, bottom in _STROKES[character]
    ]
