"""What is asked for: patches, a ruler, corners, read from the texts of the command line."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from linesim.files.srgb import Encoding
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse
from linesim.setup.model import FINENESS
from linesim.setup.quantity import PERCENT, parse_percent, parse_quantity
from linesim.setup.shown import shown
from linesim.targets.given import MOST_REFLECTANCE

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_POINT = re.compile(rf"\s*({_NUMBER})\s*,\s*({_NUMBER})\s*")
_PATCH = (
    'expected X,Y,WIDTH,HEIGHT = REFLECTANCE, such as "120,80,40,40 = 0.18", or red, green and '
    'blue, such as "120,80,40,40 = 0.40, 0.12, 0.10"'
)
_LENGTH = 'expected two points and their distance, such as "100,240 1900,250 = 50 mm"'
_CORNERS = (
    "expected four points, clockwise from the upper left corner of the product, such as "
    '"110,95 2010,120 1990,1480 90,1460"'
)
_SIZE = 'expected width x height of what the corners enclose, such as "200 mm x 100 mm"'
_ONE_LIGHT = (
    "--blank, --flatten: read both; expected one of them, for either takes off the fall-off of the "
    "light"
)
_ONE_AREA = "--corners, --crop: read both; expected one of them: corners enclose the target already"
_ONE_CHANNEL = (
    "--grey: read with a patch of three reflectances; expected one number a patch, for the target "
    "has one channel"
)
_COLOURS = 3
_MOST_MM = 1e7


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A part of the photograph whose reflectance is known."""

    region: Region  # where it lies in the photograph
    reflectance: tuple[float, ...]  # one, or those in red, green and blue; 1 is a perfect white

    def in_channels(self, channels: int) -> tuple[float, ...]:
        """Give a reflectance for each channel of an image; a grey patch has the same in all."""
        return self.reflectance * (channels // len(self.reflectance))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruler:
    """A known length in the photograph."""

    ends: tuple[tuple[float, float], ...]  # columns and rows of its two ends [px]
    length_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Corners:
    """A rectangle on the product, as the photograph shows it."""

    points: tuple[tuple[float, float], ...]  # clockwise from the upper left one [px]
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """All that a calibration is asked for."""

    image: Path
    patches: tuple[Patch, ...]
    encoding: Encoding = "srgb"  # {"srgb", "linear"}; of the photograph and of the blank
    blank: Path | None = None  # a photograph of an even white sheet in the same light
    flatten: bool = False  # the fall-off of the light is estimated from the photograph itself
    grey: bool = False  # a colour photograph becomes a grey target
    crop: Region | None = None  # the part that becomes the target
    ruler: Ruler | None = None
    corners: Corners | None = None
    pixel_size_um: float | None = None

    def __post_init__(self) -> None:
        """Refuse what does not go together."""
        three = any(len(each.reflectance) > 1 for each in self.patches)
        misfits = {
            f"--patch: none was read; {_PATCH}": not self.patches,
            _ONE_LIGHT: self.blank is not None and self.flatten,
            _ONE_AREA: self.corners is not None and self.crop is not None,
            _ONE_CHANNEL: self.grey and three,
        }
        if any(misfits.values()):
            raise InputError(*(text for text, is_so in misfits.items() if is_so))


def read_patch(text: str) -> Patch:
    """Read a patch such as ``"120,80,40,40 = 0.18"``, of one reflectance or three."""
    place, sign, value = text.partition("=")
    parts = [part.strip() for part in value.split(",")]
    if not sign or len(parts) not in (1, _COLOURS):
        refuse(f"--patch: read {shown(text)}; {_PATCH}")
    return Patch(
        region=Region.read(place, "--patch"),
        reflectance=tuple(_reflectance(part, text) for part in parts),
    )


def _reflectance(part: str, text: str) -> float:
    try:
        share = parse_percent(part) if part.endswith(PERCENT) else _bare(part)
    except ValueError:
        share = -1.0
    if not 0 <= share <= MOST_REFLECTANCE:
        refuse(
            f"--patch: read {shown(text)}, whose reflectance {shown(part)} is no number from 0 to "
            f"{MOST_REFLECTANCE:g}; {_PATCH}"
        )
    return share


def _bare(part: str) -> float:
    """Read a number in plain decimals; float alone would take more, such as 1_0."""
    return float(part) if re.fullmatch(_NUMBER, part) else -1.0


def _points(text: str, count: int, option: str, expected: str) -> tuple[tuple[float, float], ...]:
    found = [_POINT.fullmatch(part) for part in re.sub(r"\s*,\s*", ",", text).split()]
    if len(found) != count or None in found:
        refuse(f"{option}: read {shown(text)}; {expected}")
    return tuple((float(each[1]), float(each[2])) for each in found if each)


def _length_mm(text: str, whole: str, option: str, expected: str) -> float:
    try:
        length_mm = parse_quantity(text.strip(), "mm")
    except ValueError as fault:
        msg = f"{option}: read {shown(whole)}, but {fault}; {expected}"
        raise InputError(msg) from None
    if not 0 < length_mm <= _MOST_MM:
        refuse(f"{option}: read {shown(whole)}, a length of {length_mm:g} mm; {expected}")
    return length_mm


def read_ruler(text: str) -> Ruler:
    """Read a known length such as ``"100,240 1900,250 = 50 mm"``."""
    place, _, length = text.partition("=")
    ends = _points(place, 2, "--length", _LENGTH)
    if ends[0] == ends[1]:
        refuse(f"--length: read {shown(text)}, twice the same point; {_LENGTH}")
    return Ruler(ends=ends, length_mm=_length_mm(length, text, "--length", _LENGTH))


def read_corners(points: str | None, size: str | None) -> Corners | None:
    """Read corners and the size of what they enclose."""
    if points is None and size is None:
        return None
    if points is None or size is None:
        lacking = f"--corners: missing beside --size; {_CORNERS}"
        refuse(lacking if points is None else f"--size: missing beside --corners; {_SIZE}")
    found = _points(points, 4, "--corners", _CORNERS)
    if not _is_clockwise(np.array(found)):
        refuse(f"--corners: read {shown(points)}, which is no corner after the other; {_CORNERS}")
    sides = re.split(r"\s+[x×]\s+", size.strip())
    if len(sides) != 2:  # noqa: PLR2004 -- width and height
        refuse(f"--size: read {shown(size)}; {_SIZE}")
    width_mm, height_mm = (_length_mm(side, size, "--size", _SIZE) for side in sides)
    return Corners(points=found, width_mm=width_mm, height_mm=height_mm)


def _is_clockwise(points: FloatArray) -> bool:
    """Tell whether every corner turns right, with rows counted downwards: a convex four-sider."""
    after = np.roll(points, -1, axis=0) - points
    following = np.roll(after, -1, axis=0)
    turns = after[:, 0] * following[:, 1] - after[:, 1] * following[:, 0]
    return bool((turns > 0).all())


def read_pixel_size(text: str | None) -> float | None:
    """Read ``--pixel-size``, a length or dots an inch."""
    if text is None:
        return None
    try:
        return float(str(FINENESS.checked(text, Path())))
    except ValueError as fault:
        msg = f"--pixel-size: {fault}"
        raise InputError(msg) from None


def refuse_outside(shape: tuple[int, ...], points: Sequence[tuple[float, float]], key: str) -> None:
    """Refuse points that do not lie in the photograph."""
    for x, y in points:
        if not (0 <= x <= shape[1] and 0 <= y <= shape[0]):
            refuse(
                f"{key}: read the point {x:g},{y:g}, which lies outside of the photograph of "
                f"{shape[1]} columns and {shape[0]} rows; expected a point in it"
            )
