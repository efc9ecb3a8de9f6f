"""Scenes: good pieces of product that images are taken from. No two splits share one."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from linesim.files.images_in import read_image
from linesim.files.samples_in import read_samples
from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import refuse
from linesim.targets.catalogue import PRODUCTS
from linesim.targets.flat import flat

SCANS = "scans"
"""Scenes that are images as a camera delivered them."""
EVEN = "flat"
DRAWN = ("foil", "tile", EVEN, "sheet", "cloth", "timber", "print")
"""
Scenes that linesim draws; without the faults that the built-in targets of that name show, and of
the metal sheet the matt part alone.
"""
_MAKERS: dict[str, Callable[..., Reference]] = {each.name: each.maker for each in PRODUCTS}
_LINES = {"sheet": "metal", EVEN: "foil", "files": "foil", SCANS: "foil"}
"""Of what is called otherwise than its line."""
_HELD = 2
_ROWS = 512
Place = tuple[float, float]
"""Along and across, as shares from 0 to 1 of all the room there is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenes:
    """Where the images of a set are taken."""

    kind: str
    files: tuple[Path, ...] = ()
    encoding: str
    pixel_size_um: float
    width_mm: float
    height_mm: float
    count: int = 0
    images_each: int

    @property
    def real(self) -> bool:
        """Whether they are scans of real product, which stay as they are."""
        return self.kind == SCANS

    @property
    def line(self) -> str:
        """Which line of production its product is of, as far as its faults go."""
        return _LINES.get(self.kind, self.kind)

    def of_image(self, index: int) -> int:
        """Tell which scene an image is taken from."""
        run = index // self.images_each
        return run % self.count if self.count else run

    def name(self, scene: int) -> str:
        """Name a scene for people."""
        return self.files[scene].name if self.files else f"{self.kind}-{scene}"


@lru_cache(maxsize=_HELD)
def scene_of(scenes: Scenes, scene: int, seed: int) -> ArrayReference:
    """Draw or read a scene; the last ones are kept."""
    pitch_um = scenes.pixel_size_um
    if scenes.real:
        samples_dn, _ = read_samples(scenes.files[scene])
        return ArrayReference(data=samples_dn.astype(np.float32), pixel_size_um=pitch_um)
    if scenes.files:
        image = read_image(
            scenes.files[scene], encoding="srgb" if scenes.encoding == "srgb" else "linear"
        ).data
        return ArrayReference(data=image, pixel_size_um=pitch_um)
    drawn = _drawn(scenes, seed)
    data = np.empty(drawn.shape, dtype=np.float32)
    for first in range(0, len(data), _ROWS):  # what is drawn with takes several times the rows
        data[first : first + _ROWS] = drawn.rows(first, min(first + _ROWS, len(data)))
    return ArrayReference(data=data, pixel_size_um=pitch_um)


def shape_of(scenes: Scenes, scene: int, seed: int) -> tuple[int, ...]:
    """Tell the size of a scene in reference pixels; only files are read for it."""
    return (scene_of if scenes.files else _lazy)(scenes, scene, seed).shape


def _lazy(scenes: Scenes, _scene: int, seed: int) -> Reference:
    return _drawn(scenes, seed)


def _drawn(scenes: Scenes, seed: int) -> Reference:
    pitch_um, width_mm, height_mm = scenes.pixel_size_um, scenes.width_mm, scenes.height_mm
    if scenes.kind == EVEN:
        return flat(pixel_size_um=pitch_um, width_mm=width_mm, height_mm=height_mm)
    return _MAKERS[scenes.kind](
        pixel_size_um=pitch_um, width_mm=width_mm, height_mm=height_mm, seed=seed, faults=False
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How much of a scene an image needs."""

    rows: int
    columns: int
    margin_px: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """The part of a scene that an image is taken from."""

    top: int
    left: int
    rows: int
    columns: int
    # rows below and columns on either side of its margin that the scene has not
    lacks: tuple[int, int] = (0, 0)

    @property
    def place(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """First row of its scene, and one past the last; the same of columns."""
        return (self.top, self.top + self.rows), (self.left, self.left + self.columns)

    def cut(self, scene: ArrayReference) -> ImageArray:
        """Take it out of its scene."""
        rows, columns = self.place
        return scene.data[slice(*rows), slice(*columns)]


def strip_at(scan: tuple[int, ...], room: Room, places: Place, name: str) -> Piece:
    """Choose lines of a scan; its columns are those of the sensor, all of them."""
    if scan[1] != room.columns or scan[0] < room.rows:
        refuse(
            f"background: {name} has {scan[1]} samples a line and {scan[0]} lines, but the station "
            f"has {room.columns} and an image takes {room.rows} lines; expected scans of this "
            "station (camera.pixels, acquisition.binning), or fewer images.lines"
        )
    top = int(places[0] * (scan[0] - room.rows + 1))
    return Piece(top=top, left=0, rows=room.rows, columns=room.columns)


def piece_at(shape: tuple[int, ...], room: Room, place: Place, name: str) -> Piece:
    """Choose a piece of a scene."""
    rows, columns = shape[:2]
    if rows < room.rows or columns < room.columns:
        refuse(
            f"scenes: {name} has {columns} x {rows} pixels across and along, but an image takes "
            f"{room.columns} x {room.rows}; expected a larger scene (scenes.width, scenes.height), "
            "fewer images.lines, or a smaller field of view"
        )
    top = int(place[0] * (rows - room.rows + 1))
    first = int(place[1] * (columns - room.columns + 1))
    # as much on the left as on the right, for the optical axis stays in the middle
    beside = min(room.margin_px, first, columns - room.columns - first)
    below = min(room.margin_px, rows - top - room.rows)
    return Piece(
        top=top,
        left=first - beside,
        rows=room.rows + below,
        columns=room.columns + 2 * beside,
        lacks=(room.margin_px - below, room.margin_px - beside),
    )
