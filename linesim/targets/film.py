"""The clear-film scene: gels with a core, holes, and a fine white print."""

from functools import partial
from math import ceil

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.numerals import numeral_boxes
from linesim.targets.painted import PaintedFace
from linesim.targets.spots import (
    Mounds,
    Spots,
    blend_discs,
    cover_boxes,
    raise_mounds,
    scatter,
    spots_at,
)
from linesim.targets.texture import Scene, SceneMaker

FILM, CORE, INK, HOLE = 0.015, 0.06, 0.7, 0.001
"""Reflectances of the matt part: clear film, the core of a gel, white print, a hole."""
CLEAR, CORE_CLEAR, INK_CLEAR = 0.91, 0.5, 0.2
"""Transmittances of the same; a hole lets all light through."""

HOLES = ((0.28, 0.70, 0.30), (0.83, 0.22, 0.15), (0.47, 0.30, 0.06))
"""Place as shares of width and height, and radius. [mm]"""
PRINT_PLACE = (0.62, 0.60)
"""Middle of the print, as shares of width and height."""
LINES_MM = (0.1, 0.15, 0.2, 0.3, 0.4)
"""Widths of the fine lines along travel."""
GEL_STEEPNESS, GEL_LENGTH, CORE_SIZE = 0.12, 1.4, 0.6
"""Of a gel: height over standard deviation across; length over width; core radius over it."""

_GELS_PER_MM2 = 0.018
_LINE_LENGTH_MM = 5.0
_DIE_LINES_UM, _GAUGE_UM = 0.4, 2.0


def _lay(
    scene: Scene, values: tuple[float, float, float, float], first: int, last: int
) -> ImageArray:
    """Lay cores, print and holes over the film."""
    ground, core, ink, hole = values
    image = np.full((last - first, scene.grid.columns), ground, dtype=np.float32)
    if scene.faults:
        gels = film_gels(scene)
        cores = Spots(x_mm=gels.x_mm, y_mm=gels.y_mm, radius_mm=CORE_SIZE * gels.across_mm)
        blend_discs(image, cores, core, grid=scene.grid, first=first)
    _print(scene, image, ink, first)
    if scene.faults:
        blend_discs(image, spots_at(scene, HOLES), hole, grid=scene.grid, first=first)
    return image


def film_gels(scene: Scene) -> Mounds:
    """Scatter the gels."""
    random = scene.random(20)
    width_mm, height_mm = scene.grid.width_mm, scene.grid.height_mm
    count = ceil(_GELS_PER_MM2 * width_mm * height_mm)
    x_mm, y_mm = scatter(random, count=count, box_mm=(0.0, 0.0, width_mm, height_mm))
    across_mm = 0.06 + 0.24 * random.random(count) ** 2
    return Mounds(
        x_mm=x_mm,
        y_mm=y_mm,
        across_mm=across_mm,
        along_mm=GEL_LENGTH * across_mm,
        height_um=1000 * GEL_STEEPNESS * across_mm,
    )


def print_boxes() -> FloatArray:
    """Lay out the print about its middle; no two boxes overlap. [mm]."""
    lefts = np.cumsum([0.0, *LINES_MM[:-1]]) + 0.5 * np.arange(len(LINES_MM)) - 5.0
    lines = [
        (left, -_LINE_LENGTH_MM / 2, left + width, _LINE_LENGTH_MM / 2)
        for left, width in zip(lefts.tolist(), LINES_MM, strict=True)
    ]
    return np.array(
        [
            *lines,
            *numeral_boxes(2047, x_mm=-0.9, y_mm=-2.5, height_mm=2.0),
            *numeral_boxes(60318, x_mm=-0.9, y_mm=0.2, height_mm=1.0),
            *numeral_boxes(95527, x_mm=-0.9, y_mm=1.9, height_mm=0.6),
        ]
    )


def _print(scene: Scene, image: ImageArray, value: float, first: int) -> None:
    """Lay the print over the rows that it reaches."""
    ((x_mm, y_mm),) = scene.at(np.array([PRINT_PLACE])).tolist()
    boxes = print_boxes() + np.array([x_mm, y_mm, x_mm, y_mm])
    pixel_mm = scene.grid.pixel_mm
    top = max(first, int(boxes[:, 1].min() / pixel_mm))
    last = min(first + len(image), ceil(boxes[:, 3].max() / pixel_mm))
    if top >= last:
        return
    inked = np.zeros((last - top, scene.grid.columns), dtype=np.float32)
    cover_boxes(inked, boxes, 1.0, grid=scene.grid, first=top)
    part = image[top - first : last - first]
    part += inked * (np.float32(value) - part)


def _raise(scene: Scene, first: int, last: int) -> ImageArray:
    """Add up gels and die lines."""
    grid = scene.grid
    heights = scene.texture(0, 0.5, 40.0).block(grid, first, last)
    heights *= np.float32(_DIE_LINES_UM)
    heights += scene.texture(1, 5.0, 12.0).block(grid, first, last) * np.float32(_GAUGE_UM)
    if scene.faults:
        raise_mounds(heights, film_gels(scene), grid=grid, first=first)
    return heights


film = SceneMaker(
    lambda scene: PaintedFace(
        grid=scene.grid,
        paint=partial(_lay, scene, (FILM, CORE, INK, HOLE)),
        relief=partial(_raise, scene),
        passed=partial(_lay, scene, (CLEAR, CORE_CLEAR, INK_CLEAR, 1.0)),
        mirrored=partial(_lay, scene, (1.0, 1.0, 1.0, 0.0)),
    )
)
"""
Clear film.

A white print of numerals and fine lines along travel; faint lines that the die leaves. Faults:
gels, which are flat lenses 0.25 to 1.2 mm wide and longer than wide, with a dull core; three round
holes. Film that is clear in front of something dark is nearly black, so it is best seen from behind
or by what it mirrors.
"""
