"""A part of an image, in whole pixels."""

import re
from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from linesim.setup.errors import refuse
from linesim.setup.shown import shown

_FOUR = re.compile(r"\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*")
_EXPECTED = 'expected X,Y,WIDTH,HEIGHT in whole pixels from the upper left, such as "120,0,200,160"'


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """A rectangle of whole pixels."""

    # first column and first line; the image's upper left corner is 0, 0
    x: int
    y: int
    width: int
    height: int

    @classmethod
    def whole(cls, shape: tuple[int, ...]) -> "Region":
        """Take an image whole."""
        return cls(x=0, y=0, width=shape[1], height=shape[0])

    @classmethod
    def read(cls, text: str, key: str = "--region") -> "Region":
        """Read a region such as ``"120,0,200,160"``."""
        match = _FOUR.fullmatch(text)
        if match is None:
            refuse(f"{key}: read {shown(text)}; {_EXPECTED}")
        x, y, width, height = (int(part) for part in match.groups())
        if not (width and height):
            refuse(f"{key}: read {shown(text)}, which holds no pixel; {_EXPECTED}")
        return cls(x=x, y=y, width=width, height=height)

    def cut(self, image: NDArray[Any], key: str = "--region") -> NDArray[Any]:
        """Cut the region out of an image; a refusal names the option that gave it."""
        lines, width = image.shape[:2]
        if self.x + self.width > width or self.y + self.height > lines:
            refuse(
                f"{key}: read {self}, which reaches past the image's {width} columns and {lines} "
                f"lines; {_EXPECTED}"
            )
        return image[self.y : self.y + self.height, self.x : self.x + self.width]

    def as_dict(self) -> dict[str, int]:
        """As JSON has it."""
        return {"x_px": self.x, "y_px": self.y, "width_px": self.width, "height_px": self.height}

    def __str__(self) -> str:
        return f"{self.x},{self.y},{self.width},{self.height}"
