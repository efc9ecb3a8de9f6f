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
from typing import ClassVar, Protocol

import numpy as np
from numpy.typing import NDArray

from linesim.defects.blobs import need_size
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import InputError

MASK_SHARE = 0.05
"""Of its depth, over which a place belongs to a fault; our choice."""
RIDGES = 3
"""Of a wrinkle, side by side; our choice."""
_MOST_BEND_DEG = 180.0


class ReliefFault(Protocol):
    """A fault that is high or low."""

    @property
    def ends(self) -> int:
        """Length of both ends together, over the width."""

    @property
    def width_um(self) -> float:
        """Across its axis. [µm]."""

    @property
    def depth_um(self) -> float:
        """Of what is lowest, or height of what is highest. [µm]."""

    @property
    def steepest(self) -> float:
        """Tangent of its steepest slope."""

    @property
    def reach_um(self) -> float:
        """No place further from its middle is touched. [µm]."""

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""


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

    def __post_init__(self) -> None:
        """Refuse what has no size."""
        need_size(width_um=self.width_um, depth_um=self.depth_um)

    @property
    def steepest(self) -> float:
        """Tangent of its steepest slope, half way up."""
        return pi * self.depth_um / self.width_um

    @property
    def reach_um(self) -> float:
        """Half the width. [µm]."""
        return self.width_um / 2

    def _radius(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        return np.asarray(np.hypot(x_um, y_um) / self.width_um)


class Dent(_Round):
    """A round bowl without an edge, as of a knock."""

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""
        return -self.depth_um * _hill(self._radius(x_um, y_um))


class Bump(_Round):
    """A round hill without an edge, as of a grain under the surface."""

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""
        return self.depth_um * _hill(self._radius(x_um, y_um))


class Pit(_Round):
    """A small hole with a flat floor and steep walls."""

    @property
    def steepest(self) -> float:
        """Tangent of its steepest slope, half way up the wall."""
        return 2 * pi * self.depth_um / self.width_um

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""
        into_wall = np.maximum(self._radius(x_um, y_um) - 0.25, 0.0)
        return -self.depth_um * _hill(2 * into_wall)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Long:
    width_um: float
    depth_um: float
    length_um: float
    turn_deg: float = 0.0
    ends: ClassVar[int] = 1
    """Length of both ends together, over the width."""

    def __post_init__(self) -> None:
        """Refuse what has no size, or is wider than long."""
        need_size(width_um=self.width_um, depth_um=self.depth_um, length_um=self.length_um)
        if self.length_um < self.ends * self.width_um:
            msg = (
                f"length: read {self.length_um:g} um, expected {self.ends * self.width_um:g} um "
                f"or more for a width of {self.width_um:g} um"
            )
            raise InputError(msg)

    @property
    def steepest(self) -> float:
        """Tangent of its steepest slope."""
        return pi * self.depth_um / self.width_um

    @property
    def reach_um(self) -> float:
        """Half the diagonal. [µm]."""
        return float(np.hypot(self.length_um, self.width_um)) / 2

    def _strand(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give the heights of a straight strand with round ends, as shares of the highest."""
        across_um, along_um = _turned(x_um, y_um, self.turn_deg)
        past_um = _past(along_um, (self.length_um - self.width_um) / 2)
        return _hill(np.hypot(across_um, past_um) / self.width_um)


class Groove(_Long):
    """A scratch with slopes."""

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""
        return -self.depth_um * self._strand(x_um, y_um)


class Wrinkle(_Long):
    """Ridges side by side, as of a web that is pressed together across them."""

    ends: ClassVar[int] = 2

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
            msg = f"bend: read {self.bend_deg:g} deg, expected up to {_MOST_BEND_DEG:g} deg"
            raise InputError(msg)
        if 2 * self._radius_um < self.width_um:
            msg = (
                f"bend: read {self.bend_deg:g} deg, which bends it to a radius of "
                f"{self._radius_um:g} um; expected more than half its width"
            )
            raise InputError(msg)

    @property
    def _radius_um(self) -> float:
        bend = abs(radians(self.bend_deg))
        return (self.length_um - self.width_um) / bend if bend else np.inf

    def height_um(self, x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        """Give heights over places from its middle. [µm]."""
        if not self.bend_deg:
            return self.depth_um * self._strand(x_um, y_um)
        across_um, along_um = _turned(x_um, y_um, self.turn_deg)
        radius_um, half = self._radius_um, abs(radians(self.bend_deg)) / 2
        inward_um = radius_um - np.sign(self.bend_deg) * across_um
        end_um = inward_um - radius_um * cos(half), np.abs(along_um) - radius_um * sin(half)
        beside = np.abs(np.arctan2(along_um, inward_um)) <= half
        to_arc_um = np.abs(np.hypot(inward_um, along_um) - radius_um)
        away_um = np.where(beside, to_arc_um, np.hypot(*end_um))
        return self.depth_um * _hill(away_um / self.width_um)


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
) -> Dent | Bump | Pit | Groove | Wrinkle | Fibre:
    """
    Give a fault with relief by the name of its kind.

    Parameters
    ----------
    kind : str; "dent", "pit", "bump", "groove", "wrinkle" or "fibre"
    width_um, depth_um : float; across its axis; down or up [µm]
    length_um : float, optional; of a long one; left out, as short as it can be [µm]
    turn_deg : float; of a long one: 0 along travel, 90 across [deg]
    """
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
    Add faults to the heights of a face.

    Parameters
    ----------
    heights_um : ndarray, shape (rows, columns) [µm]
    faults : iterable of Laid; what is added, and where
    pixel_size_um : float; side of a pixel of the heights [µm]

    Returns
    -------
    tuple of ndarray; the heights with the faults on them [µm], and where these are
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
