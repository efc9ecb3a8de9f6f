"""
Images of a product that linesim never drew: recycled board, in numpy alone.

Nothing here comes from linesim: the texture, the faults, the camera and its noise are other code,
and other formulas, so that what a detector learned from linesim's images is tried on strange ones.
All sizes, contrasts and noise figures are our choice.

The board has a mottle drawn out along travel, fibres, and small dark flecks that belong to it.
Faults are dark blots of a ragged outline, bright spots, and bent scratches, dark or bright. The
camera blurs along and across by different Gaussians, lights unevenly (fall-off, a tilt, a flicker
from line to line), has gains of its own in each column, counts electrons (Poisson) and reads them.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatImage = NDArray[np.float64]
Box = tuple[float, float, float, float]
FINE_UM, FINE = 25.0, 3
"""Drawn pixels, and how many go into a sample each way: samples of 75 um."""
SIDE_PX = 256
WHITE_E, READ_E, E_PER_DN = 1690.0, 22.0, 9.8
"""On average; the shipped plan's station in its light takes as many."""
BLACK_DN, FULL_DN = 32.0, 4095.0
_RARE = 0.985


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shot:
    """
    An image and the boxes around its faults: left, top, width, height. [px].

    Beside each stands d' of an observer who knows the fault, its place and the board under it, so
    that the camera's noise alone is left: no detector can do better.
    """

    image_dn: FloatImage
    boxes: tuple[Box, ...]
    dprimes: tuple[float, ...]


def _noise(
    shape: tuple[int, int], sizes_px: tuple[float, float], rng: np.random.Generator
) -> FloatImage:
    """Give normal noise, softened by a Gaussian of so many pixels along and across; spread 1."""
    soft = _softened(rng.standard_normal(shape), sizes_px)
    return np.asarray((soft - soft.mean()) / soft.std())


def _softened(image: FloatImage, sizes_px: tuple[float, float]) -> FloatImage:
    y, x = np.fft.fftfreq(image.shape[0])[:, None], np.fft.rfftfreq(image.shape[1])[None, :]
    law = np.exp(-2 * np.pi**2 * ((y * sizes_px[0]) ** 2 + (x * sizes_px[1]) ** 2))
    return np.fft.irfft2(np.fft.rfft2(image) * law, s=image.shape)


def board(shape: tuple[int, int], rng: np.random.Generator) -> FloatImage:
    """Draw good product, its reflectance, on pixels of 25 um."""
    mottle = 0.05 * _noise(shape, (40.0, 14.0), rng)
    fibres = 0.05 * _noise(shape, (7.0, 1.6), rng) + 0.05 * _noise(shape, (1.6, 5.0), rng)
    seeds = _noise(shape, (3.2, 3.2), rng)
    flecks = np.clip(seeds - np.quantile(seeds, _RARE), 0, 0.5) / 0.5
    return 0.5 * np.exp(mottle + fibres - 0.45 * flecks)


def photograph(rng: np.random.Generator) -> NDArray[np.uint16]:
    """Take a small photograph of good product, linear, 13 mm each way."""
    face = board((520, 520), rng)
    return np.rint(65535 * np.clip(face + rng.normal(0, 0.004, face.shape), 0, 1)).astype(np.uint16)


def _spot(size: int, rng: np.random.Generator) -> tuple[FloatImage, float]:
    """Shade a round bright spot."""
    y, x = np.mgrid[:size, :size]
    top, left = rng.uniform(60, size - 60, 2)
    away = np.hypot(y - top, x - left)
    return (away < rng.uniform(5, 12)).astype(float), rng.uniform(0.4, 0.9)


def _blot(size: int, rng: np.random.Generator) -> tuple[FloatImage, float]:
    """Shade a ragged dark blot."""
    y, x = np.mgrid[:size, :size]
    top, left = rng.uniform(60, size - 60, 2)
    angle, away = np.arctan2(y - top, x - left), np.hypot(y - top, x - left)
    edge = rng.uniform(9, 26) * np.ones_like(angle)
    for turn in (2, 3, 5):
        edge = edge * (1 + rng.uniform(0, 0.2) * np.cos(turn * angle + rng.uniform(0, 2 * np.pi)))
    return (away < edge).astype(float), -rng.uniform(0.3, 0.6)


def _scratch(size: int, rng: np.random.Generator) -> tuple[FloatImage, float]:
    """Shade a bent stroke."""
    along = np.linspace(0, rng.uniform(100, 300), 400)
    heading = rng.uniform(0, 2 * np.pi) + along * rng.uniform(-0.004, 0.004)
    top, left = rng.uniform(80, size - 80, 2)
    step = along[1]
    ys, xs = top + np.cumsum(step * np.sin(heading)), left + np.cumsum(step * np.cos(heading))
    half, cover = rng.uniform(1.8, 4.0), np.zeros((size, size))
    reach = np.arange(-5, 6)
    for y, x in zip(ys, xs, strict=True):
        rows, columns = int(y) + reach, int(x) + reach
        if min(rows[0], columns[0]) >= 0 and max(rows[-1], columns[-1]) < size:
            near = np.hypot(rows[:, None] - y, columns[None, :] - x) < half
            cover[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1][near] = 1.0
    return cover, float(rng.choice([-1.0, 1.0])) * rng.uniform(0.3, 0.6)


FAULTS = {"bright_spot": _spot, "blot": _blot, "bent_scratch": _scratch}


def cutout(kind: str, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Photograph a fault on board and cut it out: grey and alpha, linear, on pixels of 25 um."""
    face = board((400, 400), rng)
    cover, change = FAULTS[kind](400, rng)
    rows, columns = np.flatnonzero(cover.any(axis=1)), np.flatnonzero(cover.any(axis=0))
    near = np.ix_(
        np.arange(max(rows[0] - 12, 0), min(rows[-1] + 13, 400)),
        np.arange(max(columns[0] - 12, 0), min(columns[-1] + 13, 400)),
    )
    seen = face * (1 + change * cover)
    both = np.stack((np.clip(seen + rng.normal(0, 0.004, seen.shape), 0, 1), cover), axis=2)
    return np.asarray(np.rint(255 * both[near]), dtype=np.uint8)


def _box(cover: FloatImage) -> Box:
    """Give the box of all samples that are covered by a third."""
    some = _binned(cover) >= 1 / 3
    rows, columns = np.flatnonzero(some.any(axis=1)), np.flatnonzero(some.any(axis=0))
    return (
        float(columns[0]),
        float(rows[0]),
        float(columns[-1] - columns[0] + 1),
        float(rows[-1] - rows[0] + 1),
    )


def _binned(image: FloatImage) -> FloatImage:
    side = image.shape[0] // FINE
    return np.asarray(image.reshape(side, FINE, side, FINE).mean(axis=(1, 3)))


def _lit(rng: np.random.Generator) -> FloatImage:
    """Give what the lamp, its flicker and the columns' gains make of an even product."""
    place = np.linspace(-1, 1, SIDE_PX)
    lamp = 1 - rng.uniform(0, 0.15) * place**2 + rng.uniform(-0.03, 0.03) * place
    flicker = 1 + rng.normal(0, 0.004, (SIDE_PX, 1))
    columns = 1 + rng.normal(0, 0.005, SIDE_PX)
    return np.asarray(WHITE_E * rng.uniform(0.8, 1.2) * lamp * flicker * columns)


def shot(rng: np.random.Generator, *, faults: int) -> Shot:
    """Take an image of board with so many faults."""
    size = SIDE_PX * FINE
    face, boxes, changes = board((size, size), rng), [], []
    for _ in range(faults):
        cover, change = FAULTS[str(rng.choice(list(FAULTS)))](size, rng)
        if _binned(cover).max() >= 1 / 3:
            changes.append(face * change * cover)
            face = face + changes[-1]
            boxes.append(_box(cover))
    blur_px = (rng.uniform(1.2, 1.8), rng.uniform(0.9, 1.5))
    lit_e = _lit(rng)
    expected_e = lit_e * _binned(_softened(face, blur_px))
    signals_e = [lit_e * _binned(_softened(each, blur_px)) for each in changes]
    variance_e2 = expected_e + READ_E**2 + E_PER_DN**2 / 12
    counted = rng.poisson(expected_e)
    read = BLACK_DN + (counted + rng.normal(0, READ_E, counted.shape)) / E_PER_DN
    return Shot(
        image_dn=np.clip(np.rint(read), 0, FULL_DN),
        boxes=tuple(boxes),
        dprimes=tuple(float(np.sqrt((each**2 / variance_e2).sum())) for each in signals_e),
    )
