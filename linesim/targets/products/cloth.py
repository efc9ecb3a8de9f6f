"""The woven-cloth scene: plain weave of two directions of yarn, and its faults."""

from functools import partial

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import interval
from linesim.targets.painted import Painted
from linesim.targets.products.waves import wave_means
from linesim.targets.spots import blend_discs, scale_bells, spots_at
from linesim.targets.texture import Scene, SceneMaker

CLOTH = 0.42
"""Mean reflectance of undyed cloth."""
WARP_MM, WEFT_MM = 0.36, 0.42
"""From yarn to yarn, across travel and along it: some 28 ends and 24 picks a centimetre."""
_LOWEST, _HIGHEST = 0.04, 0.85
_PITS, _ON_TOP, _ROUND = 0.45, 0.10, 0.16
"""Parts of the mean: dark gaps where four yarns meet, weft over warp, the roundness of yarns."""
_PLACE = 0.25
"""Standard deviation of a yarn's place. [rad of its pitch]"""
OIL = ((0.72, 0.30, 1.6), (0.24, 0.74, 0.9))
"""Places as shares of width and height, and standard deviation. [mm]"""
KNOTS = ((0.40, 0.46, 0.34), (0.86, 0.70, 0.26))


def _paint(scene: Scene, first: int, last: int) -> ImageArray:
    image = _weave(scene, first, last)
    image += scene.texture(4, WARP_MM, 45.0).block(scene.grid, first, last) * np.float32(0.035)
    image += scene.texture(5, 45.0, WEFT_MM).block(scene.grid, first, last) * np.float32(0.045)
    image += scene.texture(6, 0.03, 0.03).block(scene.grid, first, last) * np.float32(0.06)
    image += scene.texture(7, 6.0, 9.0).block(scene.grid, first, last) * np.float32(0.012)
    image *= np.float32(CLOTH)
    if scene.faults:
        _lose_yarns(scene, image, first, last)
        oil, knots = (spots_at(scene, each) for each in (OIL, KNOTS))
        scale_bells(image, oil, -0.35, grid=scene.grid, first=first)
        blend_discs(image, knots, 0.62, grid=scene.grid, first=first)
    return np.clip(image, _LOWEST, _HIGHEST, out=image)


cloth = SceneMaker(lambda scene: Painted(grid=scene.grid, paint=partial(_paint, scene)))
"""
Woven cloth.

Plain weave: warp along travel, weft across it, each yarn of its own lightness and a little off its
place; fibres, and cloudy thick and thin parts. Faults: a missing pick, a broken end, two oil
stains, two knots.
"""


def _weave(scene: Scene, first: int, last: int) -> ImageArray:
    """Give the weave about a mean of 1: waves across, along, and both."""
    grid = scene.grid
    x_mm = (np.arange(grid.columns, dtype=np.float64) + 0.5) * grid.pixel_mm
    y_mm = (np.arange(first, last, dtype=np.float64) + 0.5) * grid.pixel_mm
    strays = [
        scene.texture(number, *grain).block(grid, first, last) * np.float32(_PLACE / 2)
        for number, grain in ((0, (WARP_MM, 9.0)), (1, (9.0, WEFT_MM)))
    ]
    half_turns = np.pi * grid.pixel_mm / WARP_MM, np.pi * grid.pixel_mm / WEFT_MM
    across = (np.pi * x_mm / WARP_MM).astype(np.float32) + strays[0]
    along = (np.pi * y_mm / WEFT_MM).astype(np.float32)[:, None] + strays[1]
    round_x, round_y = (
        wave_means(2 * phase, 2 * turn)
        for phase, turn in zip((across, along), half_turns, strict=True)
    )
    over_x, over_y = (
        wave_means(phase, turn) for phase, turn in zip((across, along), half_turns, strict=True)
    )
    # a quarter of each cell is a gap: where both yarns are at their edges
    gaps = (1 - round_x) * (1 - round_y) / 4
    one = np.float32(1)
    weave: ImageArray = np.subtract(one, np.float32(_PITS) * (gaps - np.float32(0.25)))
    weave += np.float32(_ON_TOP) * over_x * over_y
    weave += np.float32(_ROUND / 2) * (round_x + round_y)
    return weave


def _lose_yarns(scene: Scene, image: ImageArray, first: int, last: int) -> None:
    """Leave out a pick over all the width, and an end from some place on."""
    grid = scene.grid
    pick_mm = WEFT_MM * round(0.58 * grid.height_mm / WEFT_MM)
    rows = _between(pick_mm - WEFT_MM / 2, pick_mm + WEFT_MM / 2, grid.pixel_mm, (first, last))
    image *= (1 - 0.38 * rows).astype(np.float32)[:, None]
    end_mm = WARP_MM * round(0.17 * grid.width_mm / WARP_MM)
    sides = end_mm - WARP_MM / 2, end_mm + WARP_MM / 2
    columns = _between(*sides, grid.pixel_mm, (0, grid.columns))
    later = _between(0.35 * grid.height_mm, np.inf, grid.pixel_mm, (first, last))
    image *= (1 - 0.32 * np.outer(later, columns)).astype(np.float32)


def _between(low_mm: float, high_mm: float, pixel_mm: float, span: tuple[int, int]) -> FloatArray:
    return interval(np.array([low_mm / pixel_mm]), np.array([high_mm / pixel_mm]), *span)
