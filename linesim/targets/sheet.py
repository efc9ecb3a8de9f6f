"""The metal-sheet scene: rolled base metal with grooves, dents, a print mark and a hole."""

from functools import partial

import numpy as np

from linesim.setup.arrays import ImageArray
from linesim.targets.painted import PaintedFace
from linesim.targets.spots import (
    Groove,
    Mounds,
    blend_discs,
    cover_boxes,
    plough,
    raise_mounds,
    spots_at,
)
from linesim.targets.texture import Scene, SceneMaker

METAL = 0.12
"""Mean reflectance of the matt part."""
INK, HOLE = 0.03, 0.001
"""Reflectances of the print mark, and of the hole: what lies behind it is far away and dark."""
INK_GLOSS = 0.1
"""Gloss of the print mark, as a share of the metal's."""

GROOVES = (
    # place as shares of width and height; length, width [mm]; turn from across [deg]; depth [µm]
    (0.29, 0.42, 12.0, 0.08, 90.0, 4.0),
    (0.62, 0.20, 10.0, 0.08, 0.0, 4.0),
    (0.58, 0.55, 11.0, 0.06, 35.0, 3.0),
)
DENTS = (
    # place as shares of width and height; standard deviation [mm]; depth [µm]
    (0.13, 0.22, 0.30, 30.0),
    (0.86, 0.42, 0.45, 45.0),
    (0.42, 0.78, 0.18, 15.0),
    (0.14, 0.70, 0.12, 10.0),
)
HOLE_PLACE, HOLE_MM = (0.33, 0.87), 0.35
"""Middle as shares of width and height, and radius. [mm]"""
MARK_PLACE, RING_MM, ARMS_MM = (0.80, 0.80), (1.8, 1.5), (1.2, 0.3)
"""Of the print mark: its middle; radii of its ring; length and width of a cross within it. [mm]"""

_ROLLED_UM, _STREAKY_UM, _WAVY_UM = 0.5, 1.0, 12.0


def _paint(scene: Scene, first: int, last: int) -> ImageArray:
    """Draw the matt part."""
    image = scene.texture(0, 0.04, 5.0).block(scene.grid, first, last)
    image *= np.float32(0.08)
    image += scene.texture(1, 0.5, 30.0).block(scene.grid, first, last) * np.float32(0.04)
    image += 1
    image *= np.float32(METAL)
    _blend_mark(scene, image, INK, first)
    _blend_hole(scene, image, HOLE, first)
    return np.maximum(image, np.float32(HOLE), out=image)


def _raise(scene: Scene, first: int, last: int) -> ImageArray:
    """Add up the relief."""
    grid = scene.grid
    heights = scene.texture(2, 0.06, 8.0).block(grid, first, last)
    heights *= np.float32(_ROLLED_UM)
    heights += scene.texture(3, 0.3, 20.0).block(grid, first, last) * np.float32(_STREAKY_UM)
    heights += scene.texture(4, 6.0, 9.0).block(grid, first, last) * np.float32(_WAVY_UM)
    if scene.faults:
        for groove in sheet_grooves(scene):
            plough(heights, groove, grid=grid, first=first)
        raise_mounds(heights, _dents(scene), grid=grid, first=first)
    return heights


def sheet_grooves(scene: Scene) -> list[Groove]:
    """Lay the grooves out."""
    places = scene.at(np.array(GROOVES)[:, :2])
    return [
        Groove(
            x_mm=x_mm, y_mm=y_mm, length_mm=length, width_mm=width, turn_deg=turn, depth_um=depth
        )
        for (x_mm, y_mm), (_, _, length, width, turn, depth) in zip(
            places.tolist(), GROOVES, strict=True
        )
    ]


def _dents(scene: Scene) -> Mounds:
    dents = np.array(DENTS)
    x_mm, y_mm = scene.at(dents[:, :2]).T
    size_mm, depth_um = dents[:, 2:].T
    return Mounds(x_mm=x_mm, y_mm=y_mm, across_mm=size_mm, along_mm=size_mm, height_um=-depth_um)


def _pass(scene: Scene, first: int, last: int) -> ImageArray:
    """Light passes through the hole alone."""
    passed = np.zeros((last - first, scene.grid.columns), dtype=np.float32)
    _blend_hole(scene, passed, 1.0, first)
    return passed


def _mirror(scene: Scene, first: int, last: int) -> ImageArray:
    """Say where there is bare metal; the ink mirrors little, the hole not at all."""
    mirrored = np.ones((last - first, scene.grid.columns), dtype=np.float32)
    _blend_mark(scene, mirrored, INK_GLOSS, first)
    _blend_hole(scene, mirrored, 0.0, first)
    return mirrored


sheet = SceneMaker(
    lambda scene: PaintedFace(
        grid=scene.grid,
        paint=partial(_paint, scene),
        relief=partial(_raise, scene),
        passed=partial(_pass, scene),
        mirrored=partial(_mirror, scene),
    )
)
"""
Rolled metal sheet.

Rolling lines along travel, in the matt part and as relief; a print mark without thickness, a cross
in a ring. Faults: grooves along travel, across it and between, with ploughed shoulders; four dents;
one hole, which is black from in front and clear from behind. All but the hole is opaque.
"""


def _blend_hole(scene: Scene, image: ImageArray, value: float, first: int) -> None:
    if scene.faults:
        hole = spots_at(scene, ((*HOLE_PLACE, HOLE_MM),))
        blend_discs(image, hole, value, grid=scene.grid, first=first)


def _blend_mark(scene: Scene, image: ImageArray, value: float, first: int) -> None:
    """Print a cross in a ring, over the rows that it reaches."""
    grid = scene.grid
    ((x_mm, y_mm),) = scene.at(np.array([MARK_PLACE])).tolist()
    top = max(first, int((y_mm - RING_MM[0]) / grid.pixel_mm) - 1)
    last = min(first + len(image), int((y_mm + RING_MM[0]) / grid.pixel_mm) + 2)
    if top >= last:
        return
    inked = np.zeros((last - top, grid.columns), dtype=np.float32)
    for radius_mm, share in zip(RING_MM, (1.0, 0.0), strict=True):
        disc = spots_at(scene, ((*MARK_PLACE, radius_mm),))
        blend_discs(inked, disc, share, grid=grid, first=top)
    arm_mm, half_mm = ARMS_MM[0], ARMS_MM[1] / 2
    cross = np.array(
        [
            (-arm_mm, -half_mm, arm_mm, half_mm),
            (-half_mm, -arm_mm, half_mm, -half_mm),
            (-half_mm, half_mm, half_mm, arm_mm),
        ]
    )
    cover_boxes(inked, cross + np.array([x_mm, y_mm] * 2), 1.0, grid=grid, first=top)
    part = image[top - first : last - first]
    part += inked * (np.float32(value) - part)
