"""The decorated-tile scene: glazed tiles in colour, with grout, print, speckle and faults."""

from dataclasses import dataclass
from functools import partial

import numpy as np

from linesim.forward.reference import Reference
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import half_plane, leaning_strip
from linesim.targets.ornament import FACE_HALF_MM, GLAZE, Colour, ornament
from linesim.targets.painted import Grid, Painted, grid_of
from linesim.targets.spots import Spots, blend_discs
from linesim.targets.texture import Scene

GROUT: Colour = (0.36, 0.34, 0.31)
BODY: Colour = (0.48, 0.25, 0.14)
SPECK: Colour = (0.16, 0.10, 0.06)
SPOT: Colour = (0.05, 0.045, 0.04)
CRACK: Colour = (0.10, 0.08, 0.07)
"""Linear reflectances (red, green, blue)."""

PITCH_MM = 75.0
"""From one tile to the next: a face of 72 mm and a joint of 3 mm. [mm]"""

_CORNER_MM = 1.3  # radius of the tiles' corners
_SPECKS_PER_MM2 = 0.25
_CRACK_MM = 0.10
_CHUNK_ROWS = 64
_LOWEST, _HIGHEST = 0.02, 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    x_mm: float
    y_mm: float
    radius_mm: float
    squash: float  # how much wider than long
    rough: float  # how much of the ragged outline it takes


_MISSING = _Patch(
    x_mm=1.5 * PITCH_MM + 11.5, y_mm=0.5 * PITCH_MM - 8.5, radius_mm=6.2, squash=1.25, rough=6.5
)
_CHIP = _Patch(x_mm=34.5, y_mm=PITCH_MM - 1.0, radius_mm=1.5, squash=2.1, rough=3.5)
_SPOTS = Spots(
    x_mm=np.array([57.5, 58.15, 22.4]),
    y_mm=np.array([PITCH_MM + 36.0, PITCH_MM + 36.25, PITCH_MM + 52.0]),
    radius_mm=np.array([0.62, 0.4, 0.35]),
)


def tile(
    *,
    pixel_size_um: float,
    width_mm: float,
    height_mm: float,
    seed: int = 0,
    faults: bool = True,
) -> Reference:
    """
    Make a scene of decorated ceramic tiles in colour.

    Tiles of 72 mm with 3 mm of grout between them. The print carries fine lines of red, green
    and blue, 0.4 mm wide, straight and round: where a colour camera's rows do not register,
    they fringe. Faults, in the first two rows and columns of tiles: a chipped edge, a patch of
    missing print, two dark spots, a hairline crack 0.1 mm wide.

    Parameters
    ----------
    pixel_size_um : float; side of one square reference pixel [µm]
    width_mm, height_mm : float; size across travel and along it [mm]
    seed : int, default 0; another seed moves the speckle, the grain and the crack
    faults : bool, default True
        Whether the tiles have any: chip, missing print, spots and crack. Speckle is no fault.

    Returns
    -------
    Reference; of shape (rows, columns, 3), computed by rows, reflectance 0.02 to 0.9

    Raises
    ------
    InputError; if a size is not above zero or smaller than a pixel

    Notes
    -----
    The gloss of a glaze is left out: the target is a matt surface. Colours and sizes are
    plausible for the trade (common practice, no source).
    """
    grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
    return Painted(
        pixel_size_um=pixel_size_um,
        shape=(grid.rows, grid.columns, 3),
        paint=partial(_paint, Scene(grid=grid, seed=seed, faults=faults)),
    )


def _paint(scene: Scene, first: int, last: int) -> ImageArray:
    image = np.empty((last - first, scene.grid.columns, 3), dtype=np.float32)
    for start in range(first, last, _CHUNK_ROWS):
        stop = min(start + _CHUNK_ROWS, last)
        image[start - first : stop - first] = np.moveaxis(_chunk(scene, start, stop), 0, 2)
    _lay_spots(scene, image, first)
    return np.clip(image, _LOWEST, _HIGHEST, out=image)


def _chunk(scene: Scene, first: int, last: int) -> ImageArray:
    """Tiles and grout, the colours as three planes."""
    pixel_mm = scene.grid.pixel_mm
    x_mm: FloatArray = (np.arange(scene.grid.columns, dtype=np.float64) + 0.5) * pixel_mm
    y_mm: FloatArray = (np.arange(first, last, dtype=np.float64) + 0.5) * pixel_mm
    u_mm, v_mm = np.meshgrid(*(_within_tile(part) for part in (x_mm, y_mm)))
    planes = np.stack([np.full_like(u_mm, part) for part in GLAZE])
    ragged_mm = _ragged(scene, first, last)
    missing = _patch(_MISSING, ragged_mm, x_mm, y_mm, pixel_mm) if scene.faults else 0
    for share, colour in ornament(u_mm, v_mm, pixel_mm):
        _lay(planes, share * (1 - missing) * np.float32(0.96), colour)
    if scene.faults:
        _lay(planes, _crack(scene, x_mm, first, last), CRACK)
        _lay(planes, _patch(_CHIP, ragged_mm, x_mm, y_mm, pixel_mm), BODY)
    planes *= 1 + scene.texture(0, 1.5, 1.5).block(scene.grid, first, last) * np.float32(0.012)
    inside_px, face = _face(u_mm, v_mm, pixel_mm)
    inside_px = np.maximum(inside_px, 0)
    planes *= 1 - np.float32(0.22) * np.exp(-((inside_px * pixel_mm / np.float32(0.45)) ** 2))
    sand = scene.texture(1, 0.12, 0.12).block(scene.grid, first, last) * np.float32(0.09)
    sand += 1 + scene.texture(2, 2.0, 2.0).block(scene.grid, first, last) * np.float32(0.03)
    _lay(planes, 1 - face, GROUT, sand)
    return planes


def _within_tile(place_mm: FloatArray) -> ImageArray:
    """Count a place from the middle of its own tile."""
    return (np.mod(place_mm, PITCH_MM) - PITCH_MM / 2).astype(np.float32)


def _lay(
    planes: ImageArray, share: ImageArray, colour: Colour, grain: ImageArray | None = None
) -> None:
    """Lay a colour over the planes by its share of each pixel, perhaps with a grain of its own."""
    for index, level in enumerate(colour):
        laid = np.float32(level) if grain is None else np.float32(level) * grain
        planes[index] += share * (laid - planes[index])


def _face(u_mm: ImageArray, v_mm: ImageArray, pixel_mm: float) -> tuple[ImageArray, ImageArray]:
    """
    Say how far inside the rounded square of a tile's face a pixel is, and what share of it.

    Distances are in pixels, negative outside.
    """
    straight_mm = np.float32(FACE_HALF_MM - _CORNER_MM)
    past_u, past_v = np.abs(u_mm) - straight_mm, np.abs(v_mm) - straight_mm
    corner_u, corner_v = np.maximum(past_u, 0), np.maximum(past_v, 0)
    round_mm = np.hypot(corner_u, corner_v)
    outside_mm = np.minimum(np.maximum(past_u, past_v), 0) + round_mm - np.float32(_CORNER_MM)
    inside_px = -outside_mm / np.float32(pixel_mm)
    in_corner = round_mm > 0
    length_mm = np.where(in_corner, round_mm, 1)
    normal_u = np.where(in_corner, corner_u / length_mm, past_u > past_v)
    normal_v = np.where(in_corner, corner_v / length_mm, past_u <= past_v)
    share = half_plane(inside_px, normal_u, normal_v)
    return inside_px, share.astype(np.float32)


def tile_faces(grid: Grid, first: int, last: int) -> tuple[ImageArray, ImageArray]:
    """Give for some rows how far inside a tile's face each pixel is [px], and its share of it."""
    x_mm: FloatArray = (np.arange(grid.columns, dtype=np.float64) + 0.5) * grid.pixel_mm
    y_mm: FloatArray = (np.arange(first, last, dtype=np.float64) + 0.5) * grid.pixel_mm
    u_mm, v_mm = np.meshgrid(*(_within_tile(part) for part in (x_mm, y_mm)))
    return _face(u_mm, v_mm, grid.pixel_mm)


def _ragged(scene: Scene, first: int, last: int) -> ImageArray:
    """How far the outline of a patch is pushed outward here. [mm]."""
    ragged = scene.texture(3, 0.9, 0.9).block(scene.grid, first, last) * np.float32(0.12)
    return ragged + scene.texture(4, 0.2, 0.2).block(scene.grid, first, last) * np.float32(0.02)


def _patch(
    patch: _Patch, ragged_mm: ImageArray, x_mm: FloatArray, y_mm: FloatArray, pixel_mm: float
) -> ImageArray:
    """Share of each pixel inside a patch with a ragged outline, anti-aliased."""
    away_x, away_y = (x_mm - patch.x_mm) / patch.squash, y_mm - patch.y_mm
    away_mm = np.hypot(away_x, away_y[:, None]).astype(np.float32)
    inside_mm = np.float32(patch.radius_mm) - away_mm + np.float32(patch.rough) * ragged_mm
    share: ImageArray = np.clip(inside_mm / np.float32(pixel_mm) + np.float32(0.5), 0, 1)
    return share


def _crack(scene: Scene, x_mm: FloatArray, first: int, last: int) -> ImageArray:
    """Run a hairline crack down the second tile of the second row, faint at its end."""
    pixel_mm = scene.grid.pixel_mm
    rows = np.arange(first - 1, last + 1)
    path_mm = 1.72 * PITCH_MM - 0.16 * ((rows + 0.5) * pixel_mm - PITCH_MM)
    for number, grain_mm, size_mm in ((5, 6.0, 1.0), (6, 1.2, 0.18), (7, 0.35, 0.035)):
        wave = scene.texture(number, 1.0, grain_mm).line(scene.grid, first - 1, last + 1)
        path_mm = path_mm + size_mm * wave
    down = ((rows[1:-1] + 0.5) * pixel_mm / PITCH_MM - 1) / 0.62
    depth = np.where((down > 0) & (down < 1), np.clip(4 * (1 - down), 0, 1), 0)
    slope = (path_mm[2:] - path_mm[:-2])[:, None] / (2 * pixel_mm)
    away_px = (x_mm - path_mm[1:-1, None]) / pixel_mm
    share = leaning_strip(away_px, slope, _CRACK_MM / pixel_mm)
    return (share * 0.85 * depth[:, None]).astype(np.float32)


def _lay_spots(scene: Scene, image: ImageArray, first: int) -> None:
    """Lay speckle on the faces, and two dark spots on the first tile of the second row."""
    random = scene.random(20)
    width_mm, height_mm = scene.grid.width_mm, scene.grid.height_mm
    count = int(_SPECKS_PER_MM2 * width_mm * height_mm)
    x_mm, y_mm = random.random(count) * width_mm, random.random(count) * height_mm
    radius_mm = 0.04 + 0.13 * random.random(count) ** 3
    room_mm = FACE_HALF_MM - 0.6
    on_face = np.maximum(np.abs(_within_tile(x_mm)), np.abs(_within_tile(y_mm))) < room_mm
    specks = Spots(x_mm=x_mm[on_face], y_mm=y_mm[on_face], radius_mm=radius_mm[on_face])
    laid = ((specks, SPECK), (_SPOTS, SPOT)) if scene.faults else ((specks, SPECK),)
    for spots, colour in laid:
        blend_discs(image, spots, np.asarray(colour, np.float32), grid=scene.grid, first=first)
