"""The timber scene: a planed softwood board with growth rings, knots and its faults."""

from functools import partial

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import leaning_strip
from linesim.targets.painted import Painted
from linesim.targets.products.waves import wave_means
from linesim.targets.spots import Spots, blend_discs, scale_bells, spots_at
from linesim.targets.texture import Scene, SceneMaker

WOOD = (0.60, 0.44, 0.27)
"""Mean reflectance, red, green and blue."""
KNOT, RESIN = (0.24, 0.13, 0.06), (0.42, 0.26, 0.10)
RING_MM = 2.8
"""From one growth ring to the next, measured from the pith."""
_LOWEST, _HIGHEST = 0.02, 0.88
_LATE = (0.12, 0.05, 0.025)
"""Of the ring's first waves: late wood is dark and narrow."""
_DEEPER = np.array([0.8, 1.0, 1.25])
"""How much of the rings each colour shows: late wood is redder."""
KNOTS = ((0.30, 0.28, 4.2), (0.74, 0.70, 2.8))
"""Places as shares of width and height, and radius. [mm]"""
POCKET, WORM_HOLES = (0.58, 0.42, 1.1), ((0.20, 0.72, 0.7), (0.88, 0.30, 0.5))
_CRACK_MM = 0.3
_KNOT_RINGS = ((0.92, 1.25), (0.78, 1.0), (0.72, 1.2), (0.56, 0.9), (0.5, 1.1), (0.3, 0.75))
"""Radii over the knot's, and how light they are against it."""


def _paint(scene: Scene, first: int, last: int) -> ImageArray:
    rings = _rings(scene, first, last)
    grain = scene.texture(2, 0.10, 7.0).block(scene.grid, first, last) * np.float32(0.045)
    grain += scene.texture(3, 0.07, 0.8).block(scene.grid, first, last) * np.float32(0.05)
    grain += scene.texture(4, 14.0, 90.0).block(scene.grid, first, last) * np.float32(0.035)
    tone = 1 + rings[:, :, None] * _DEEPER.astype(np.float32) + grain[:, :, None]
    image: ImageArray = tone * np.array(WOOD, dtype=np.float32)
    if scene.faults:
        _lay_faults(scene, image, first, last)
    return np.clip(image, _LOWEST, _HIGHEST, out=image)


timber = SceneMaker(
    lambda scene: Painted(grid=scene.grid, paint=partial(_paint, scene), channels=(3,))
)
"""
A planed board.

Growth rings of a board sawn beside the pith, narrower towards its sides, that wander along it;
fibres and rays along travel, and cloudy tone. Faults: two knots, which the rings go around, a
crack, a resin pocket, worm holes.
"""


def _rings(scene: Scene, first: int, last: int) -> ImageArray:
    """Give the rings: how much lighter or darker than the mean."""
    grid, random = scene.grid, scene.random(20)
    pith, below_mm = 0.25 + 0.5 * random.random(), 12.0 + 16.0 * random.random()
    x_mm = (np.arange(grid.columns, dtype=np.float64) + 0.5) * grid.pixel_mm - pith * grid.width_mm
    wave = scene.texture(0, 1.0, 60.0).line(grid, first, last)
    depth_mm = np.maximum(below_mm + 5.0 * wave, 4.0)[:, None]
    out_mm = np.hypot(x_mm, depth_mm)
    turn = 2 * np.pi * grid.pixel_mm / RING_MM * np.abs(x_mm) / out_mm
    out_mm = out_mm + scene.texture(1, 9.0, 55.0).block(grid, first, last) * np.float32(0.5)
    if scene.faults:
        out_mm = out_mm + _around_knots(scene, x_mm + pith * grid.width_mm, (first, last))
    phase = 2 * np.pi * out_mm / RING_MM
    parts = [-depth * wave_means(k * phase, k * turn) for k, depth in enumerate(_LATE, start=1)]
    rings: ImageArray = np.sum(parts, axis=0, dtype=np.float32)
    return rings


def _around_knots(scene: Scene, x_mm: FloatArray, rows: tuple[int, int]) -> FloatArray:
    """Push the rings aside around knots. [mm]."""
    y_mm = ((np.arange(*rows) + 0.5) * scene.grid.pixel_mm)[:, None]
    pushed = np.zeros((rows[1] - rows[0], len(x_mm)))
    knots = np.array(KNOTS)
    for (at_x, at_y), size_mm in zip(scene.at(knots[:, :2]).tolist(), knots[:, 2], strict=True):
        away = ((x_mm - at_x) / (1.6 * size_mm)) ** 2 + ((y_mm - at_y) / (2.6 * size_mm)) ** 2
        pushed += 1.1 * size_mm * np.exp(-away / 2)
    return pushed


def _lay_faults(scene: Scene, image: ImageArray, first: int, last: int) -> None:
    grid = scene.grid
    for listed, scale, colour in ((KNOTS, 1.0, KNOT), ((POCKET,), 1.0, RESIN)):
        spots = spots_at(scene, listed, scale)
        halo = Spots(x_mm=spots.x_mm, y_mm=spots.y_mm, radius_mm=0.9 * spots.radius_mm)
        for k in range(3):
            scale_bells(image[:, :, k], halo, -0.3, grid=grid, first=first)
        blend_discs(image, spots, np.array(colour, np.float32), grid=grid, first=first)
    for scale, darker in _KNOT_RINGS:
        rings = spots_at(scene, KNOTS, scale)
        blend_discs(image, rings, np.array(KNOT, np.float32) * darker, grid=grid, first=first)
    holes = spots_at(scene, WORM_HOLES)
    blend_discs(image, holes, np.full(3, 0.03, np.float32), grid=grid, first=first)
    _crack(scene, image, first, last)


def _crack(scene: Scene, image: ImageArray, first: int, last: int) -> None:
    """Open a crack along the grain that narrows to nothing at both ends."""
    grid = scene.grid
    rows = np.arange(first - 1, last + 1)
    down = ((rows + 0.5) * grid.pixel_mm / grid.height_mm - 0.45) / 0.4
    path_mm = 0.46 * grid.width_mm + 0.9 * scene.texture(5, 1.0, 9.0).line(
        grid, first - 1, last + 1
    )
    width = np.sqrt(np.maximum(np.sin(np.pi * np.clip(down[1:-1], 0, 1)), 0))
    x_px = np.arange(grid.columns) + 0.5
    slope = ((path_mm[2:] - path_mm[:-2]) / (2 * grid.pixel_mm))[:, None]
    away_px = x_px - path_mm[1:-1, None] / grid.pixel_mm
    share = leaning_strip(away_px, slope, _CRACK_MM / grid.pixel_mm) * width[:, None]
    weight = share.astype(np.float32)[:, :, None]
    image += weight * (np.float32(0.03) - image)
