"""
Faults with relief: heights over a face, in µm at places in µm, about the fault's own middle.

x lies across, y along travel; a long fault has its axis along travel at a turn of 0, across it at
90°. All are smooth: heights and slopes have no step. r is the distance from the middle, of a long
fault that from a middle line of the length less the width, so that its ends are round; w the width,
d the depth. Dents, pits and grooves go down, bumps, wrinkles and fibres up:

dent     -d cos²(πr/w)                              steepest πd/w
pit      -d to w/4, then -d cos²(2π(r/w - 1/4))     steepest 2πd/w
groove   -d cos²(πr/w)                              steepest πd/w
bump     d cos²(πr/w)                               steepest πd/w
wrinkle  d sin²(3πx/w) cos²(πv/2w), three ridges    steepest 3πd/w
         side by side, v how far a place lies
         into the last w of either end
fibre    d cos²(πr/w), its middle line straight     steepest πd/w
         or an arc

beyond w/2 nothing. Of a depth, 5 % is what counts as the fault where its true mask is drawn.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import cos, pi, radians, sin
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from linesim.defects.blobs import need_size
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse

MASK_SHARE = 0.05
"""Of its depth, over which a place belongs to a fault; our choice."""
RIDGES = 3
"""Of a wrinkle, side by side; our choice."""
_MOST_BEND_DEG = 180.0


def _hill(distance: FloatArray) -> FloatArray:
    """Give cos²(πr) inside a half, the heights of a round hill of width 1."""
    return np.where(distance < 0.5, np.cos(pi * np.minimum(distance, 0.5)) ** 2, 0.0)  # noqa: PLR2004 -- half the width


def _turned(x_um: FloatArray, y_um: FloatArray, turn_deg: float) -> tuple[FloatArray, FloatArray]:
    """Give places across an axis and along it; at 90° it lies across, pointing to larger x."""
    c, s = cos(radians(turn_deg)), sin(radians(turn_deg))
    return x_um * c - y_um * s, x_um * s + y_um * c


def _past(along_um: FloatArray, half_um: float) -> FloatArray:
    """Give by how much places lie past the ends of a middle line. [µm]."""
    return np.maximum(np.abs(along_um) - half_um, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Round:
    width_um: float
    depth_um: float
    ends: ClassVar[int] = 1
    sense: ClassVar[float] = -1.0
    """1 for what goes up, -1 for what goes down."""

    def __post_init__(self) -> None:
        """Refuse what has no size."""
        need_size(width_um=self.width_um, depth_um=self.depth_um)

    @property
    def steepest(self) -> float:
        """Tangent of its steepest slope, half way up."""
        return pi * self.depth_um / self.width_um

    @property
    def reach_um(self) -> float:
        """Half the width; no place further from its middle is touched. [µm]."""
        return self.width_um / 2

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""
        return self.sense * self.depth_um * self._share(np.hypot(x_um, y_um) / self.width_um)

    def _share(self, radius: FloatArray) -> FloatArray:
        """Give shares of its depth at distances over its width."""
        return _hill(radius)


class Dent(_Round):
    """A round bowl without an edge, as of a knock."""


class Bump(_Round):
    """A round hill without an edge, as of a grain under the surface."""

    sense = 1.0


class Pit(_Round):
    """A small hole with a flat floor and steep walls."""

    @property
    def steepest(self) -> float:
        """Tangent of its steepest slope, half way up the wall."""
        return 2 * pi * self.depth_um / self.width_um

    def _share(self, radius: FloatArray) -> FloatArray:
        return _hill(2 * np.maximum(radius - 0.25, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Long:
    width_um: float
    depth_um: float
    length_um: float
    turn_deg: float = 0.0
    ends: ClassVar[int] = 1
    """Length of both ends together, over the width."""
    sense: ClassVar[float] = 1.0

    def __post_init__(self) -> None:
        """Refuse what has no size, or is wider than long."""
        need_size(width_um=self.width_um, depth_um=self.depth_um, length_um=self.length_um)
        if self.length_um < self.ends * self.width_um:
            refuse(
                f"length: read {self.length_um:g} um, expected {self.ends * self.width_um:g} um "
                f"or more for a width of {self.width_um:g} um"
            )

    @property
    def steepest(self) -> float:
        """Tangent of its steepest slope."""
        return pi * self.depth_um / self.width_um

    @property
    def reach_um(self) -> float:
        """Half the diagonal; no place further from its middle is touched. [µm]."""
        return float(np.hypot(self.length_um, self.width_um)) / 2

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""
        across_um, along_um = _turned(x_um, y_um, self.turn_deg)
        return self.sense * self.depth_um * self._share(across_um, along_um)

    def _share(self, across_um: FloatArray, along_um: FloatArray) -> FloatArray:
        """Give shares of its depth at places across its axis and along it."""
        return self._strand(across_um, along_um)

    def _strand(self, across_um: FloatArray, along_um: FloatArray) -> FloatArray:
        """Give the shares of a straight strand with round ends."""
        past_um = _past(along_um, (self.length_um - self.width_um) / 2)
        return _hill(np.hypot(across_um, past_um) / self.width_um)


class Groove(_Long):
    """A scratch with slopes."""

    sense = -1.0


class Wrinkle(_Long):
    """Ridges side by side, as of a web that is pressed together across them."""

    ends = 2

    @property
    def steepest(self) -> float:
        """Tangent of its steepest slope, on the flanks between the ends."""
        return RIDGES * pi * self.depth_um / self.width_um

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""
        across_um, along_um = _turned(x_um, y_um, self.turn_deg)
        # counted from an edge, so that all ridges are whole
        place = np.clip(across_um / self.width_um + 0.5, 0.0, 1.0)
        end = _past(along_um, self.length_um / 2 - self.width_um) / self.width_um
        return self.depth_um * np.sin(RIDGES * pi * place) ** 2 * _hill(end / 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fibre(_Long):
    """A thin strand under or on the surface, straight or bent to an arc of so many degrees."""

    bend_deg: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what has no size, or is bent so far that it meets itself."""
        _Long.__post_init__(self)
        if not abs(self.bend_deg) <= _MOST_BEND_DEG:
            refuse(f"bend: read {self.bend_deg:g} deg, expected up to {_MOST_BEND_DEG:g} deg")
        if 2 * self._radius_um < self.width_um:
            refuse(
                f"bend: read {self.bend_deg:g} deg, which bends it to a radius of "
                f"{self._radius_um:g} um; expected more than half its width"
            )

    @property
    def _radius_um(self) -> float:
        bend = abs(radians(self.bend_deg))
        return (self.length_um - self.width_um) / bend if bend else np.inf

    def _share(self, across_um: FloatArray, along_um: FloatArray) -> FloatArray:
        if not self.bend_deg:
            return self._strand(across_um, along_um)
        radius_um, half = self._radius_um, abs(radians(self.bend_deg)) / 2
        inward_um = radius_um - np.sign(self.bend_deg) * across_um
        end_um = inward_um - radius_um * cos(half), np.abs(along_um) - radius_um * sin(half)
        beside = np.abs(np.arctan2(along_um, inward_um)) <= half
        to_arc_um = np.abs(np.hypot(inward_um, along_um) - radius_um)
        return _hill(np.where(beside, to_arc_um, np.hypot(*end_um)) / self.width_um)


ReliefFault = Dent | Bump | Pit | Groove | Wrinkle | Fibre
_ROUND: dict[str, type[Dent | Bump | Pit]] = {"dent": Dent, "pit": Pit, "bump": Bump}
_LONG: dict[str, type[Groove | Wrinkle | Fibre]] = {
    "groove": Groove,
    "wrinkle": Wrinkle,
    "fibre": Fibre,
}
ROUND_KINDS, LONG_KINDS = tuple(_ROUND), tuple(_LONG)


def relief_fault(
    kind: str,
    width_um: float,
    depth_um: float,
    length_um: float | None = None,
    turn_deg: float = 0.0,
) -> ReliefFault:
    """Give a fault by the name of its kind; a long one is as short as it can be by itself."""
    if kind in _ROUND:
        return _ROUND[kind](width_um=width_um, depth_um=depth_um)
    made = _LONG[kind]
    if length_um is None:
        length_um = made.ends * width_um
    return made(width_um=width_um, depth_um=depth_um, length_um=length_um, turn_deg=turn_deg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A fault with relief at a place."""

    fault: ReliefFault
    # its middle, from the outer corner of the first pixel of the first row [µm]
    x_um: float
    y_um: float


def with_relief(
    heights_um: FloatArray | ImageArray, faults: Iterable[Laid], pixel_size_um: float
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """
    Add faults to the heights of a face; give also where they are.

    Parameters
    ----------
    heights_um : ndarray, shape (rows, columns) [µm]
    """
    heights_um = np.array(heights_um, dtype=np.float64)
    mask = np.zeros(heights_um.shape, dtype=np.bool_)
    for laid in faults:
        rows, columns = (
            _window(place_um, laid.fault.reach_um, pixel_size_um, count)
            for place_um, count in zip((laid.y_um, laid.x_um), heights_um.shape, strict=True)
        )
        along_um = (np.arange(rows.start, rows.stop) + 0.5) * pixel_size_um - laid.y_um
        across_um = (np.arange(columns.start, columns.stop) + 0.5) * pixel_size_um - laid.x_um
        own_um = laid.fault.height_um(across_um[None, :], along_um[:, None])
        heights_um[rows, columns] += own_um
        mask[rows, columns] |= np.abs(own_um) > MASK_SHARE * laid.fault.depth_um
    return heights_um, mask


def _window(place_um: float, reach_um: float, pixel_um: float, count: int) -> slice:
    """Give the pixels that a fault may touch."""
    first = np.floor((place_um - reach_um) / pixel_um)
    last = np.ceil((place_um + reach_um) / pixel_um)
    low, high = (int(np.clip(each, 0, count)) for each in (first, last))
    return slice(low, high)
