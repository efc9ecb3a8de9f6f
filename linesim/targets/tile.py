"""The decorated-tile scene: glazed tiles in colour, with grout, print, speckle and faults."""

from dataclasses import dataclass
from functools import lru_cache, partial
from math import ceil, floor

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import leaning_strip
from linesim.targets.joints import (
    FACE_HALF_MM,
    PITCH_MM,
    Part,
    ends_of_faces,
    folded,
    middles_mm,
    within_tile,
)
from linesim.targets.ornament import GLAZE, Colour, lay, lay_ornament
from linesim.targets.painted import AT_ONCE, Grid, Painted
from linesim.targets.quarter import Quarter
from linesim.targets.spots import Spots, blend_discs
from linesim.targets.texture import Scene, SceneMaker

GROUT: Colour = (0.36, 0.34, 0.31)
BODY: Colour = (0.48, 0.25, 0.14)
SPECK: Colour = (0.16, 0.10, 0.06)
SPOT: Colour = (0.05, 0.045, 0.04)
CRACK: Colour = (0.10, 0.08, 0.07)
"""Linear reflectances (red, green, blue)."""

_SPECKS_PER_MM2 = 0.25
_KEPT_PX, _MOST_ROWS = 1 << 20, 1 << 20  # a quarter of a tile so small is kept, 12 MB at most
_CRACK_MM = 0.10
_CRACK_LENGTH = 0.62  # as a share of a tile
_SHADE, _SHADE_MM = 0.22, 0.45  # what the glaze loses at the end of a face, and over what length
_SHADED_MM = 1.9  # further in it loses under 2^-26, half a unit in the last place of 1
_RAGGED_MM = 0.84  # a ragged outline goes further out than this once in 10^8 targets
_LOWEST, _HIGHEST = 0.02, 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    x_mm: float
    y_mm: float
    radius_mm: float
    squash: float  # how much wider than long
    rough: float  # how much of the ragged outline it takes

    def box(self, scene: Scene, first: int, last: int) -> Part | None:
        """Find the pixels of some rows that it may reach."""
        pixel_mm = scene.grid.pixel_mm
        reach_mm = self.radius_mm + self.rough * _RAGGED_MM + pixel_mm
        top, bottom = (ceil((self.y_mm + end * reach_mm) / pixel_mm) for end in (-1, 1))
        left, right = (
            ceil((self.x_mm + end * reach_mm * self.squash) / pixel_mm) for end in (-1, 1)
        )
        top, bottom = max(top - 1, first), min(bottom, last)
        left, right = max(left - 1, 0), min(right, scene.grid.columns)
        if top >= bottom or left >= right:
            return None
        return slice(top - first, bottom - first), slice(left, right)


_MISSING = _Patch(
    x_mm=1.5 * PITCH_MM + 11.5, y_mm=0.5 * PITCH_MM - 8.5, radius_mm=6.2, squash=1.25, rough=6.5
)
_CHIP = _Patch(x_mm=34.5, y_mm=PITCH_MM - 1.0, radius_mm=1.5, squash=2.1, rough=3.5)
_SPOTS = Spots(
    x_mm=np.array([57.5, 58.15, 22.4]),
    y_mm=np.array([PITCH_MM + 36.0, PITCH_MM + 36.25, PITCH_MM + 52.0]),
    radius_mm=np.array([0.62, 0.4, 0.35]),
)


def _paint(scene: Scene, first: int, last: int) -> ImageArray:
    image = np.empty((last - first, scene.grid.columns, 3), dtype=np.float32)
    planes = _printed(scene, first, last)
    if scene.faults:
        _lay_missing(scene, planes, first, last)
        _lay_crack(scene, planes, first, last)
        _lay_chip(scene, planes, first, last)
    planes *= 1 + scene.texture(0, 1.5, 1.5).block(scene.grid, first, last) * np.float32(0.012)
    _lay_joints(scene, planes, first, last)
    for index, plane in enumerate(planes):
        image[..., index] = plane
    _lay_spots(scene, image, first)
    return np.clip(image, _LOWEST, _HIGHEST, out=image)


tile = SceneMaker(
    lambda scene: Painted(
        grid=scene.grid, paint=partial(_paint, scene), channels=(3,), at_once=AT_ONCE
    )
)
"""
Decorated ceramic tiles in colour, as a matt surface.

Tiles of 72 mm with 3 mm of grout between them. The print carries fine lines of red, green and blue,
0.4 mm wide, straight and round: where a colour camera's rows do not register, they fringe. Faults,
in the first two rows and columns of tiles: a chipped edge, a patch of missing print, two dark
spots, a hairline crack 0.1 mm wide. Speckle is no fault; another seed moves it, the grain and the
crack.
"""


def _printed(scene: Scene, first: int, last: int) -> ImageArray:
    """Print what all tiles have, the colours as three planes."""
    grid = scene.grid
    own_mm, columns = folded(grid.columns, grid.pixel_mm)
    if grid.rows <= _MOST_ROWS:
        quarter_mm, rows = folded(grid.rows, grid.pixel_mm)
        if quarter_mm.size * own_mm.size <= _KEPT_PX and 2 * quarter_mm.size <= grid.rows:
            return _kept(grid).take(rows[first:last], axis=1).take(columns, axis=2)
    v_mm = np.abs(within_tile(middles_mm(first, last, grid.pixel_mm)))
    quarter = Quarter(u_mm=own_mm, v_mm=v_mm, pixel_mm=grid.pixel_mm)
    return _print(quarter).take(columns, axis=2)


@lru_cache(maxsize=1)
def _kept(grid: Grid) -> ImageArray:
    """Print a quarter of a tile once for a whole target, and for others of its pixels."""
    own_mm, quarter_mm = (folded(n, grid.pixel_mm)[0] for n in (grid.columns, grid.rows))
    return _print(Quarter(u_mm=own_mm, v_mm=quarter_mm, pixel_mm=grid.pixel_mm))


def _print(quarter: Quarter, missing: ImageArray | None = None) -> ImageArray:
    planes = np.empty((3, quarter.v_mm.size, quarter.u_mm.size), dtype=np.float32)
    planes[...] = np.array(GLAZE, dtype=np.float32)[:, None, None]
    lay_ornament(planes, quarter, missing)
    return planes


def _lay_missing(scene: Scene, planes: ImageArray, first: int, last: int) -> None:
    """Print anew where a patch took no print."""
    part = _MISSING.box(scene, first, last)
    if part is None:
        return
    rows, columns = part
    pixel_mm = scene.grid.pixel_mm
    missing = _patch(_MISSING, scene, first, part)
    u_mm, v_mm = (
        np.abs(within_tile(middles_mm(*ends, pixel_mm)))
        for ends in ((columns.start, columns.stop), (first + rows.start, first + rows.stop))
    )
    # a quarter has its columns in the order of their distance from the tile's middle
    order = np.argsort(u_mm, kind="stable")
    quarter = Quarter(u_mm=u_mm[order], v_mm=v_mm, pixel_mm=pixel_mm)
    planes[:, rows, columns][..., order] = _print(quarter, missing[:, order])


def _lay_chip(scene: Scene, planes: ImageArray, first: int, last: int) -> None:
    part = _CHIP.box(scene, first, last)
    if part is not None:
        lay(planes, part, _patch(_CHIP, scene, first, part), BODY)


def _lay_joints(scene: Scene, planes: ImageArray, first: int, last: int) -> None:
    """Darken the glaze at the end of each face, and lay grout between them."""
    pixel_mm = scene.grid.pixel_mm
    for part, inside_px, face in ends_of_faces(scene.grid, (first, last), _SHADED_MM):
        inside_mm = np.maximum(inside_px, 0) * pixel_mm
        shade = np.exp(-((inside_mm / np.float32(_SHADE_MM)) ** 2))
        planes[:, *part] *= 1 - np.float32(_SHADE) * shade
        _lay_grout(scene, planes, first, part, 1 - face)


def _lay_grout(scene: Scene, planes: ImageArray, first: int, part: Part, grout: ImageArray) -> None:
    """Lay sandy grout over the columns of a part that have any."""
    (rows, columns), met = part, np.flatnonzero(grout.any(axis=0))
    if not met.size:
        return
    if grout.shape[1] > 1:
        columns = slice(columns.start + met[0], columns.start + met[-1] + 1)
        grout = grout[:, met[0] : met[-1] + 1]
    block = first + rows.start, first + rows.stop, (columns.start, columns.stop)
    sand = scene.texture(1, 0.12, 0.12).block(scene.grid, *block) * np.float32(0.09)
    sand += 1 + scene.texture(2, 2.0, 2.0).block(scene.grid, *block) * np.float32(0.03)
    lay(planes, (rows, columns), grout, GROUT, sand)


def _patch(patch: _Patch, scene: Scene, first: int, part: Part) -> ImageArray:
    """Share of each pixel inside a patch with a ragged outline, anti-aliased."""
    rows, columns = part
    pixel_mm, ends = scene.grid.pixel_mm, (first + rows.start, first + rows.stop)
    block = *ends, (columns.start, columns.stop)
    ragged_mm = scene.texture(3, 0.9, 0.9).block(scene.grid, *block) * np.float32(0.12)
    ragged_mm += scene.texture(4, 0.2, 0.2).block(scene.grid, *block) * np.float32(0.02)
    x_mm, y_mm = middles_mm(columns.start, columns.stop, pixel_mm), middles_mm(*ends, pixel_mm)
    away_x, away_y = (x_mm - patch.x_mm) / patch.squash, y_mm - patch.y_mm
    away_mm = np.hypot(away_x, away_y[:, None]).astype(np.float32)
    inside_mm = np.float32(patch.radius_mm) - away_mm + np.float32(patch.rough) * ragged_mm
    share: ImageArray = np.clip(inside_mm / np.float32(pixel_mm) + np.float32(0.5), 0, 1)
    return share


def _lay_crack(scene: Scene, planes: ImageArray, first: int, last: int) -> None:
    """Run a hairline crack down the second tile of the second row, faint at its end."""
    pixel_mm = scene.grid.pixel_mm
    down = (middles_mm(first, last, pixel_mm) / PITCH_MM - 1) / _CRACK_LENGTH
    met = np.flatnonzero((down > 0) & (down < 1))
    if not met.size:
        return
    rows = slice(int(met[0]), int(met[-1]) + 1)
    path_mm = _crack_path_mm(scene, first + rows.start, first + rows.stop)
    slope = (path_mm[2:] - path_mm[:-2])[:, None] / (2 * pixel_mm)
    path_mm = path_mm[1:-1, None]
    # where the crack leans, it and a pixel reach further across
    reach_mm = (_CRACK_MM + 2 * pixel_mm) * (1 + float(np.abs(slope).max()))
    begin = max(0, floor((path_mm.min() - reach_mm) / pixel_mm))
    end = min(scene.grid.columns, ceil((path_mm.max() + reach_mm) / pixel_mm))
    if begin < end:
        away_px = (middles_mm(begin, end, pixel_mm) - path_mm) / pixel_mm
        share = leaning_strip(away_px, slope, _CRACK_MM / pixel_mm)
        depth = np.clip(4 * (1 - down[rows]), 0, 1)[:, None]
        part = rows, slice(begin, end)
        lay(planes, part, (share * 0.85 * depth).astype(np.float32), CRACK)


def _crack_path_mm(scene: Scene, first: int, last: int) -> FloatArray:
    """Say where the crack runs, from the row before to the row after some."""
    first, last = first - 1, last + 1
    path_mm = 1.72 * PITCH_MM - 0.16 * (middles_mm(first, last, scene.grid.pixel_mm) - PITCH_MM)
    for number, grain_mm, size_mm in ((5, 6.0, 1.0), (6, 1.2, 0.18), (7, 0.35, 0.035)):
        wave = scene.texture(number, 1.0, grain_mm).line(scene.grid, first, last)
        path_mm = path_mm + size_mm * wave
    return path_mm


def _lay_spots(scene: Scene, image: ImageArray, first: int) -> None:
    """Lay speckle on the faces, and two dark spots on the first tile of the second row."""
    laid = ((_specks(scene), SPECK), (_SPOTS, SPOT))
    for spots, colour in laid if scene.faults else laid[:1]:
        blend_discs(image, spots, np.asarray(colour, np.float32), grid=scene.grid, first=first)


@lru_cache(maxsize=4)
def _specks(scene: Scene) -> Spots:
    random = scene.random(20)
    width_mm, height_mm = scene.grid.width_mm, scene.grid.height_mm
    count = int(_SPECKS_PER_MM2 * width_mm * height_mm)
    x_mm, y_mm = random.random(count) * width_mm, random.random(count) * height_mm
    radius_mm = 0.04 + 0.13 * random.random(count) ** 3
    room_mm = FACE_HALF_MM - 0.6
    on_face = np.maximum(np.abs(within_tile(x_mm)), np.abs(within_tile(y_mm))) < room_mm
    return Spots(x_mm=x_mm[on_face], y_mm=y_mm[on_face], radius_mm=radius_mm[on_face])
