"""The coated-foil scene: a web of bare metal foil with a dark coating lane and its faults."""

from functools import lru_cache, partial
from math import ceil

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import HALF_DIAGONAL_PX, bell, half_plane, leaning_strip
from linesim.targets.painted import AT_ONCE, Painted
from linesim.targets.spots import Spots, blend_discs, scale_bells, scatter
from linesim.targets.texture import Scene, SceneMaker

METAL = 0.55
"""Mean reflectance of the bare foil."""

COATING = 0.11
"""Mean reflectance of the coating."""

LUMP = 0.035
"""Reflectance of an agglomerate."""

_LOWEST, _HIGHEST = 0.03, 0.9
_MARGIN = 0.11  # bare foil on either side, as a share of the width
_RIM_MM = 2.5  # beside the edge of the lane, within which its rim lies
_SCRATCH_MM = 0.045
_PINHOLES_PER_MM2, _LUMPS_PER_MM2 = 0.012, 0.006


def _lane_mm(scene: Scene) -> tuple[float, float, float, float]:
    """Give the coating lane (left, top, right, bottom). [mm]."""
    width_mm, margin_mm = scene.grid.width_mm, _MARGIN * scene.grid.width_mm
    return margin_mm, 0.0, width_mm - margin_mm, scene.grid.height_mm


def _edges_px(scene: Scene) -> tuple[tuple[int, int], ...]:
    """Give columns, first and one past the last, about the left edge of the lane and the right."""
    pixel_mm = scene.grid.pixel_mm
    return tuple(
        (
            max(0, int(edge_mm / pixel_mm - _RIM_MM / pixel_mm) - 3),
            min(scene.grid.columns, int(edge_mm / pixel_mm + _RIM_MM / pixel_mm) + 4),
        )
        for edge_mm in _lane_mm(scene)[::2]
    )


def _paint(scene: Scene, first: int, last: int) -> ImageArray:
    grain = scene.texture(0, 0.04, 0.04).block(scene.grid, first, last)
    left, right = _edges_px(scene)
    # bare foil beside the lane hides what is here
    image = np.zeros_like(grain)
    image[:, left[0] : right[1]] = _coating(scene, grain, first, last)
    if scene.faults:
        _scale_streak(scene, image, first, last)
        # round holes in the coating, the foil seen through them
        blend_discs(image, _pinholes(scene), METAL, grid=scene.grid, first=first)
        _lay_lumps(scene, image, first)
    _lay_margins(scene, image, grain, first, last)
    if scene.faults:
        _lay_scratch(scene, image, first, last)
    return np.clip(image, _LOWEST, _HIGHEST, out=image)


foil = SceneMaker(
    lambda scene: Painted(grid=scene.grid, paint=partial(_paint, scene), at_once=AT_ONCE)
)
"""
A coated foil.

Bare rolled foil on both sides of a coating lane with slightly wavy edges; grain (some 40 µm),
mottle and faint lengthwise bands in the coating. Faults: pinholes of 40 to 260 µm that show the
foil, agglomerates of 150 to 500 µm, one streak that starts at an agglomerate, one scratch 45 µm
wide.
"""


def _metal(
    scene: Scene, grain: ImageArray, rows: tuple[int, int], columns: tuple[int, int]
) -> ImageArray:
    """Draw fine rolling lines along travel, each some millimetres long."""
    block = (scene.grid, *rows, columns)
    metal = scene.texture(1, 0.03, 6.0).block(*block)
    metal *= np.float32(0.055)
    metal += scene.texture(2, 0.6, 25.0).block(*block) * np.float32(0.03)
    metal += grain[:, slice(*columns)] * np.float32(0.025)
    metal += 1
    metal *= np.float32(METAL)
    return metal


def _coating(scene: Scene, grain: ImageArray, first: int, last: int) -> ImageArray:
    """Dark coating: grain, mottle, lengthwise bands."""
    left, right = _edges_px(scene)
    block = (scene.grid, first, last, (left[0], right[1]))
    coating = grain[:, left[0] : right[1]] * np.float32(0.085)
    coating += scene.texture(3, 0.7, 0.9).block(*block) * np.float32(0.03)
    coating += scene.texture(4, 1.6, 60.0).block(*block) * np.float32(0.02)
    coating += 1
    coating *= np.float32(COATING)
    return coating


def _streak_start_mm(scene: Scene) -> tuple[float, float]:
    left, _, right, bottom = _lane_mm(scene)
    return left + 0.34 * (right - left), 0.17 * bottom


def _scale_streak(scene: Scene, coating: ImageArray, first: int, last: int) -> None:
    """Thin the coating behind a lump at the coater's lip: bright core, thick dark shoulders."""
    pixel_mm = scene.grid.pixel_mm
    x_mm, y_mm = _streak_start_mm(scene)
    past_mm = np.maximum((np.arange(first, last) + 0.5) * pixel_mm - y_mm, 0)
    wave = scene.texture(5, 1.0, 3.5).line(scene.grid, first, last)
    strength = (1 - np.exp(-past_mm / 0.8)) * (1 + 0.22 * wave)
    reach_px = int(1.6 / pixel_mm) + 2
    centre = int(x_mm / pixel_mm)
    left, right = max(0, centre - reach_px), min(scene.grid.columns, centre + reach_px)
    profile = 0.75 * bell(x_mm / pixel_mm, 0.11 / pixel_mm, left, right)
    profile -= 0.17 * bell(x_mm / pixel_mm, 0.36 / pixel_mm, left, right)
    coating[:, left:right] *= (1 + np.outer(strength, profile)).astype(np.float32)


@lru_cache(maxsize=4)
def _pinholes(scene: Scene) -> Spots:
    random = scene.random(20)
    left, top, right, bottom = _lane_mm(scene)
    count = ceil(_PINHOLES_PER_MM2 * (right - left) * bottom)
    x_mm, y_mm = scatter(random, count=count, box_mm=(left + 0.5, top, right - 0.5, bottom))
    radius_mm = 0.02 + 0.11 * random.random(count) ** 2
    return Spots(x_mm=x_mm, y_mm=y_mm, radius_mm=radius_mm)


def _lay_lumps(scene: Scene, image: ImageArray, first: int) -> None:
    """Agglomerates: a dark lump of several grains, dark shoulders, a faint thin ring."""
    halo, shoulder, grains = _lumps(scene)
    scale_bells(image, halo, 0.25, grid=scene.grid, first=first)
    scale_bells(image, shoulder, -0.6, grid=scene.grid, first=first)
    blend_discs(image, grains, LUMP, grid=scene.grid, first=first)


@lru_cache(maxsize=4)
def _lumps(scene: Scene) -> tuple[Spots, Spots, Spots]:
    """Scatter halos, shoulders, and grains."""
    random = scene.random(21)
    left, top, right, bottom = _lane_mm(scene)
    count = 1 + ceil(_LUMPS_PER_MM2 * (right - left) * bottom)
    x_mm, y_mm = scatter(random, count=count, box_mm=(left + 0.8, top, right - 0.8, bottom))
    x_mm[0], y_mm[0] = _streak_start_mm(scene)
    radius_mm = 0.06 + 0.12 * random.random(count)
    halo = Spots(x_mm=x_mm, y_mm=y_mm, radius_mm=4.5 * radius_mm)
    shoulder = Spots(x_mm=x_mm, y_mm=y_mm, radius_mm=1.6 * radius_mm)
    angle = 2 * np.pi * random.random((count, 5))
    away_mm = radius_mm[:, None] * random.uniform(0.3, 0.8, (count, 5))
    grains = Spots(
        x_mm=(x_mm[:, None] + away_mm * np.cos(angle)).ravel(),
        y_mm=(y_mm[:, None] + away_mm * np.sin(angle)).ravel(),
        radius_mm=(radius_mm[:, None] * random.uniform(0.35, 0.75, (count, 5))).ravel(),
    )
    return halo, shoulder, grains


def _lay_margins(scene: Scene, image: ImageArray, grain: ImageArray, first: int, last: int) -> None:
    """Bare foil beside the lane; the coating ends in a wavy edge with a thick dark rim."""
    columns = scene.grid.columns
    for side, (begin, end) in enumerate(_edges_px(scene)):
        outside_px, share = _outside(scene, side, first, last)
        margin, outer = ((begin, columns), end) if side else ((0, end), 0)
        metal = _metal(scene, grain, (first, last), margin)
        near, beside = image[:, begin:end], metal[:, begin - margin[0] : end - margin[0]]
        near *= _rim(outside_px * scene.grid.pixel_mm)
        near += share * (beside - near)
        width = columns - end if side else begin
        image[:, outer : outer + width] = metal[:, outer - margin[0] :][:, :width]


def _outside(scene: Scene, side: int, first: int, last: int) -> tuple[FloatArray, ImageArray]:
    """Say about an edge of the lane how far outside it a pixel is, and what share of it. [px]."""
    grid, (begin, end) = scene.grid, _edges_px(scene)[side]
    slow = scene.texture(6 + side, 1.0, 3.0).line(grid, first - 1, last + 1)
    fast = scene.texture(8 + side, 1.0, 0.25).line(grid, first - 1, last + 1)
    edge_px = (_lane_mm(scene)[2 * side] + 0.07 * slow + 0.014 * fast) / grid.pixel_mm
    slope = (edge_px[2:] - edge_px[:-2]) / 2
    normal_x = 1 / np.hypot(1, slope)
    away = np.arange(begin, end) + 0.5 - edge_px[1:-1, None]
    outside_px = (2 * side - 1) * away * normal_x[:, None]
    share = (outside_px > 0).astype(np.float32)
    rim = np.nonzero(np.abs(outside_px) < HALF_DIAGONAL_PX)
    leans = normal_x[rim[0]], (slope * normal_x)[rim[0]]
    share[rim] = half_plane(outside_px[rim], *leans)
    return outside_px, share


def _rim(outside_mm: FloatArray) -> ImageArray:
    """Darker where the coating is thick, about 0.35 mm inside its edge."""
    return (1 - 0.22 * np.exp(-(((outside_mm + 0.35) / 0.22) ** 2) / 2)).astype(np.float32)


def _lay_scratch(scene: Scene, image: ImageArray, first: int, last: int) -> None:
    """Bare the metal along a slightly bent scratch, lightly at its ends and in between."""
    pixel_mm = scene.grid.pixel_mm
    left_mm, _, right_mm, bottom_mm = _lane_mm(scene)
    length_mm = min(9.0, 0.3 * bottom_mm)
    along = ((np.arange(first, last) + 0.5) * pixel_mm - 0.55 * bottom_mm) / length_mm
    touched = np.flatnonzero((along > 0) & (along < 1))
    if touched.size == 0:
        return
    along = along[touched]
    bend_mm = length_mm * along * (0.42 + 0.10 * along)
    path_px = (left_mm + 0.72 * (right_mm - left_mm) + bend_mm) / pixel_mm
    reach_px = int(_SCRATCH_MM / pixel_mm) + 3
    begin = max(0, int(path_px.min()) - reach_px)
    end = max(begin, min(scene.grid.columns, int(path_px.max()) + reach_px))
    away_px = np.arange(begin, end) + 0.5 - path_px[:, None]
    share = leaning_strip(away_px, (0.42 + 0.20 * along)[:, None], _SCRATCH_MM / pixel_mm)
    skips = scene.texture(10, 1.0, 0.25).line(scene.grid, first, last)[touched]
    pressure = np.sqrt(np.sin(np.pi * along)) * np.clip(0.75 + 0.3 * skips, 0, 1)
    near = image[touched[0] : touched[-1] + 1, begin:end]
    near += (share * pressure[:, None]).astype(np.float32) * (np.float32(METAL) - near)
