"""The printed-web scene: halftone and line work in one ink on paper, and its faults."""

from functools import partial
from math import ceil, floor

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.coverage import bell
from linesim.targets.numerals import numeral_boxes
from linesim.targets.painted import Grid, Painted
from linesim.targets.spots import Spots, blend_discs, cover_boxes, spots_at
from linesim.targets.texture import Scene, SceneMaker

PAPER, INK = 0.80, 0.05
"""Reflectances."""
DOT_MM = 1 / 6
"""From dot to dot of the screen, which lies at 45 degrees: 60 dots a centimetre."""
REPEAT_MM = 24.0
"""Of the printing cylinder: its motif comes again so often along travel."""
LEAST_TONE, MOST_TONE = 0.06, 0.55
"""Share of the paper that dots cover."""
_GAIN = 0.06
"""Standard deviation of the tone from place to place, over the tone."""
_LOWEST, _HIGHEST = 0.03, 0.88
RULES_MM = (0.08, 0.12, 0.2, 0.3)
VOIDS = ((0.30, 0.34, 0.45), (0.66, 0.76, 0.25))
"""Where ink is missing: place as shares of width and height, radius. [mm]"""
SPLASHES = ((0.55, 0.22, 0.30), (0.18, 0.66, 0.16))


def _paint(scene: Scene, first: int, last: int) -> ImageArray:
    grid = scene.grid
    inked = np.zeros((last - first, grid.columns), dtype=np.float32)
    blend_discs(inked, _dots(scene, first, last), 1.0, grid=grid, first=first)
    _rule(scene, inked, first, last)
    if scene.faults:
        blend_discs(inked, spots_at(scene, VOIDS), 0.0, grid=grid, first=first)
        blend_discs(inked, spots_at(scene, SPLASHES), 1.0, grid=grid, first=first)
        streak = bell(0.8 * grid.columns, 0.09 / grid.pixel_mm, 0, grid.columns)
        inked += (0.6 * streak).astype(np.float32) * (1 - inked)
    paper = scene.texture(0, 0.12, 0.16).block(grid, first, last) * np.float32(0.012)
    paper += scene.texture(1, 1.5, 2.0).block(grid, first, last) * np.float32(0.008)
    paper += 1
    paper *= np.float32(PAPER)
    image: ImageArray = paper + inked * (np.float32(INK) - paper)
    return np.clip(image, _LOWEST, _HIGHEST, out=image)


printed = SceneMaker(lambda scene: Painted(grid=scene.grid, paint=partial(_paint, scene)))
"""
A printed web.

A motif of soft bands in round halftone dots, with rules and numerals, that comes again with the
cylinder; dots gain and lose from place to place, and no repeat is quite like another. Another
seed's motif begins elsewhere. Faults: two voids, two splashes, a streak of the doctor blade.
"""


def _start_mm(scene: Scene) -> float:
    """Give where in its repeat the motif begins. [mm]."""
    return float(scene.random(20).random()) * REPEAT_MM


def _dots(scene: Scene, first: int, last: int) -> Spots:
    """Lay the dots that rows meet, on a screen turned by 45 degrees."""
    grid = scene.grid
    half_mm = DOT_MM / np.sqrt(2)  # rows of the turned screen, every other one shifted by half
    rows = np.arange(
        floor(first * grid.pixel_mm / half_mm) - 1, ceil(last * grid.pixel_mm / half_mm) + 2
    )
    columns = np.arange(-1, ceil(grid.width_mm / (2 * half_mm)) + 2)
    x_mm = (2 * columns + (rows % 2)[:, None]) * half_mm
    y_mm = np.broadcast_to(rows[:, None] * half_mm, x_mm.shape)
    tone = _tone(scene, x_mm, y_mm)
    gain = _gains(scene, rows, half_mm, len(columns))
    share = np.clip(tone * (1 + _GAIN * gain), LEAST_TONE, MOST_TONE)
    radius_mm = DOT_MM * np.sqrt(share / np.pi)
    return Spots(x_mm=x_mm.ravel(), y_mm=y_mm.ravel(), radius_mm=radius_mm.ravel())


def _tone(scene: Scene, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
    """Give the motif: bands that swing along travel, one repeat after the other."""
    turn = 2 * np.pi * (y_mm + _start_mm(scene)) / REPEAT_MM
    swung = x_mm + 1.8 * np.sin(turn) + 0.7 * np.sin(3 * turn)
    bands = np.cos(2 * np.pi * swung / 11.0) + 0.5 * np.cos(2 * np.pi * swung / 4.4 + 2 * turn)
    return 0.28 + 0.15 * bands


def _gains(scene: Scene, rows: FloatArray, step_mm: float, columns: int) -> FloatArray:
    """Give what dots gain: a field whose pixels are the dots of the screen."""
    dots = Grid(pixel_size_um=step_mm * 1000, rows=1, columns=2 * columns)
    field = scene.texture(2, 2.5, 6.0).block(dots, int(rows[0]), int(rows[-1]) + 1)
    return field[:, ::2].astype(np.float64)


def _rule(scene: Scene, inked: ImageArray, first: int, last: int) -> None:
    """Lay rules and numerals of each repeat that rows meet."""
    grid = scene.grid
    begin = floor((first * grid.pixel_mm + _start_mm(scene)) / REPEAT_MM) - 1
    end = ceil((last * grid.pixel_mm + _start_mm(scene)) / REPEAT_MM) + 1
    for repeat in range(begin, end):
        boxes = _boxes(grid.width_mm)
        boxes[:, 1::2] += repeat * REPEAT_MM - _start_mm(scene)
        met = (boxes[:, 3] > first * grid.pixel_mm) & (boxes[:, 1] < last * grid.pixel_mm)
        if met.any():
            lines = np.zeros_like(inked)
            cover_boxes(lines, boxes[met], 1.0, grid=grid, first=first)
            inked += lines * (1 - inked)


def _boxes(width_mm: float) -> FloatArray:
    """Lay out the line work of one repeat, about the middle of the web. [mm]."""
    middle_mm, top_mm = width_mm / 2, 9.0
    lefts = middle_mm - 4.0 + 0.7 * np.arange(len(RULES_MM))
    rules = [
        (left, top_mm, left + width, top_mm + 5.0)
        for left, width in zip(lefts.tolist(), RULES_MM, strict=True)
    ]
    level = [(middle_mm - 0.6, top_mm + 4.6, middle_mm + 5.0, top_mm + 4.7)]
    numerals = numeral_boxes(4096, x_mm=middle_mm - 0.5, y_mm=top_mm, height_mm=1.8)
    return np.array([*rules, *level, *numerals])
