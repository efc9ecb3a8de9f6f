"""The varnished-tile scene: decorated tiles under varnish with craters, runs and orange peel."""

from functools import partial
from math import ceil

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.joints import CORNER_MM, PITCH_MM, ends_of_faces
from linesim.targets.painted import AT_ONCE, PaintedFace
from linesim.targets.spots import Mounds, Spots, blend_discs, raise_mounds, scatter
from linesim.targets.texture import Scene, SceneMaker
from linesim.targets.tile import tile

DIRT = (0.05, 0.04, 0.03)
"""Linear reflectance of what collects in a pinhole."""
JOINT_UM, EDGE_MM = 80.0, 0.8
"""How far the joints lie below a face, and over what length a face falls off at its edge."""
CRATER_STEEPNESS = 0.12
"""Depth of a crater over its standard deviation."""
RUNS = (
    # middle on its tile, across and along [mm]; length of the tail [mm]; height of the bead [µm]
    (0.30, 0.66, 5.0, 200.0),
    (1.66, 1.80, 3.5, 150.0),
)
"""Varnish that has run down and set: places in tiles from the upper left corner."""
RUN_MM, TAIL_SHARE = 1.3, 0.55
"""Standard deviation of a bead, and height of the tail over that of the bead."""

_CRATERS_PER_MM2, _PINHOLES_PER_MM2 = 0.0018, 0.0008
_PINHOLE_MM = 0.09
_PEEL_UM, _SAND_UM = 6.0, 6.0
_SHORE_MM = 0.5
_SOFT_MM = 8.3
"""Further in a face falls off by less than the smallest number that single precision holds."""


def _paint(scene: Scene, first: int, last: int) -> ImageArray:
    """Draw the tiles, and dirt in the pinholes."""
    grid = scene.grid
    bare = tile(
        pixel_size_um=grid.pixel_size_um,
        width_mm=grid.width_mm,
        height_mm=grid.height_mm,
        seed=scene.seed,
        faults=False,
    )
    image = np.array(bare.rows(first, last))
    if scene.faults:
        blend_discs(image, pinholes(scene), np.array(DIRT, np.float32), grid=grid, first=first)
    return image


def _raise(scene: Scene, first: int, last: int) -> ImageArray:
    """Add up the relief: faces with soft edges, orange peel on them, sand between."""
    grid = scene.grid
    peel = scene.texture(10, 0.8, 0.8).block(grid, first, last)
    peel *= np.float32(_PEEL_UM)
    heights = np.zeros_like(peel)
    beaches: list[tuple[slice, slice, ImageArray]] = []
    for (rows, columns), inside_px, _ in ends_of_faces(grid, (first, last), _SOFT_MM):
        inside_mm = inside_px * np.float32(grid.pixel_mm)
        falls = np.exp(-((np.maximum(inside_mm, 0) / np.float32(EDGE_MM)) ** 2))
        heights[rows, columns] = falls * np.float32(-JOINT_UM)
        shore = np.clip(inside_mm * np.float32(-1 / _SHORE_MM), 0, 1)
        if shore.any():
            beaches.append((rows, columns, shore * (shore * (3 - 2 * shore))))
    heights += peel
    for rows, columns, shore in beaches:
        block = first + rows.start, first + rows.stop, (columns.start, columns.stop)
        sand = scene.texture(1, 0.12, 0.12).block(grid, *block)
        heights[rows, columns] += sand * shore * np.float32(_SAND_UM)
    if scene.faults:
        raise_mounds(heights, runs(), grid=grid, first=first)
        raise_mounds(heights, craters(scene), grid=grid, first=first, rimmed=True)
    return heights


def _on_faces(scene: Scene, number: int, per_mm2: float) -> tuple[np.random.Generator, FloatArray]:
    """Scatter places that are well on a face."""
    random, grid = scene.random(number), scene.grid
    count = ceil(per_mm2 * grid.width_mm * grid.height_mm)
    places = np.stack(
        scatter(random, count=count, box_mm=(0.0, 0.0, grid.width_mm, grid.height_mm))
    )
    beside_mm = np.abs(np.mod(places, PITCH_MM) - PITCH_MM / 2).max(axis=0)
    return random, places[:, beside_mm < PITCH_MM / 2 - 4.0]


def craters(scene: Scene) -> Mounds:
    """Scatter craters, 0.4 to 1.2 mm across from rim to rim's foot."""
    random, (x_mm, y_mm) = _on_faces(scene, 30, _CRATERS_PER_MM2)
    size_mm = 0.18 + 0.32 * random.random(x_mm.size) ** 2
    return Mounds(
        x_mm=x_mm,
        y_mm=y_mm,
        across_mm=size_mm,
        along_mm=size_mm,
        height_um=-1000 * CRATER_STEEPNESS * size_mm,
    )


def pinholes(scene: Scene) -> Spots:
    """Scatter pinholes."""
    _, (x_mm, y_mm) = _on_faces(scene, 31, _PINHOLES_PER_MM2)
    return Spots(x_mm=x_mm, y_mm=y_mm, radius_mm=np.full(x_mm.size, _PINHOLE_MM))


def runs() -> Mounds:
    """Lay out beads and the tails behind them."""
    x, y, tail_mm, height_um = np.array(RUNS).T
    return Mounds(
        x_mm=np.concatenate([x, x]) * PITCH_MM,
        y_mm=np.concatenate([y * PITCH_MM, y * PITCH_MM - 1.6 * tail_mm]),
        across_mm=np.full(2 * x.size, RUN_MM),
        along_mm=np.concatenate([np.full(x.size, RUN_MM), tail_mm]),
        height_um=np.concatenate([height_um, TAIL_SHARE * height_um]),
    )


def _pass(scene: Scene, first: int, last: int) -> ImageArray:
    """Tiles are opaque."""
    return np.zeros((last - first, scene.grid.columns), dtype=np.float32)


def _mirror(scene: Scene, first: int, last: int) -> ImageArray:
    """Say where there is varnish: on the faces, but for the dirt in pinholes."""
    face = np.ones((last - first, scene.grid.columns), dtype=np.float32)
    for part, _, share in ends_of_faces(scene.grid, (first, last), CORNER_MM):
        face[part] = share
    if scene.faults:
        blend_discs(face, pinholes(scene), 0.0, grid=scene.grid, first=first)
    return face


glaze = SceneMaker(
    lambda scene: PaintedFace(
        grid=scene.grid,
        paint=partial(_paint, scene),
        relief=partial(_raise, scene),
        passed=partial(_pass, scene),
        mirrored=partial(_mirror, scene),
        channels=(3,),
        at_once=AT_ONCE,
    )
)
"""
Decorated tiles under varnish.

The tiles of ``tile`` without faults of their own. The varnish has the relief of orange peel; joints
lie lower, and their sand does not mirror. Faults: flat craters with a rim, pinholes with dirt in
them, and two runs that end in a bead, on the first tile and on the second of the second row.
"""
