"""
Random texture of a stated grain size, the same at every pixel size.

The texture is a field of cubic B-splines on a lattice that is fixed to the target, with
normally distributed weights. Its mean over a pixel is a closed form, so coarse and fine
references show one and the same material, and a block of rows needs only its own lattice rows.
Scenes are made of textures and of what lies on them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, sqrt
from typing import Generic, TypeVar

import numpy as np
import scipy

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.painted import Grid, Painted, grid_of

_STRIP = 64  # lattice rows that share one random stream
_REACH = 2  # a cubic B-spline ends two lattice steps from its node
_MEAN_SQUARE = 151 / 315  # of the sum over nodes: the integral of the squared cubic B-spline


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """A random field of mean 0 and standard deviation 1 (before the mean over each pixel)."""

    seed: int
    number: int  # which texture of the scene this is; each number has its own random stream
    # distance of the lattice nodes
    grain_x_mm: float
    grain_y_mm: float

    def block(
        self, grid: Grid, first: int, last: int, columns: tuple[int, int] | None = None
    ) -> ImageArray:
        """Give the mean of the field over each pixel of a block of rows, or of some columns."""
        step_y_px = self.grain_y_mm / grid.pixel_mm
        step_x_px = self.grain_x_mm / grid.pixel_mm
        top, along = spline_means(first, last, step_y_px)
        left, across = spline_means(*(columns or (0, grid.columns)), step_x_px)
        weights = self._weights(top, along.shape[1], left, across.shape[1])
        over = (across @ weights.T).T
        means: ImageArray = along @ np.ascontiguousarray(over)
        return means

    def line(self, grid: Grid, first: int, last: int) -> FloatArray:
        """Give the mean over each row of a wave along travel, of standard deviation 1."""
        top, along = spline_means(first, last, self.grain_y_mm / grid.pixel_mm)
        weights = self._weights(top, along.shape[1], 0, 1).astype(np.float64)
        wave: FloatArray = (along.astype(np.float64) @ weights)[:, 0] * sqrt(_MEAN_SQUARE)
        return wave

    def _weights(self, top: int, rows: int, left: int, columns: int) -> ImageArray:
        """Random weights of the lattice nodes, each strip of lattice rows from its own stream."""
        first, last = (top + _REACH) // _STRIP, (top + rows - 1 + _REACH) // _STRIP
        strips = [self._strip(strip, left, columns) for strip in range(first, last + 1)]
        start = top + _REACH - first * _STRIP
        drawn: ImageArray = np.concatenate(strips)[start : start + rows]
        return drawn / np.float32(_MEAN_SQUARE)

    def _strip(self, strip: int, left: int, columns: int) -> ImageArray:
        """One strip; nodes are drawn column by column so that the width changes none of them."""
        # Streams have numbers from 0 up; strips above the target's first row take the odd ones.
        key = (self.number, 2 * strip if strip >= 0 else -2 * strip - 1)
        skipped = left + _REACH
        # in steps, so that parts of a target that end elsewhere share what is drawn
        nodes = ceil((skipped + columns) / _STRIP) * _STRIP
        return _drawn(self.seed, key, nodes)[skipped : skipped + columns].T


@lru_cache(maxsize=64)
def _drawn(seed: int, key: tuple[int, int], nodes: int) -> ImageArray:
    """Draw the weights of a strip; blocks of rows follow one another through the same strips."""
    random = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=key))
    return random.standard_normal((nodes, _STRIP), dtype=np.float32)


@lru_cache(maxsize=64)
def spline_means(first: int, last: int, step_px: float) -> tuple[int, "scipy.sparse.csr_array"]:
    """Give the mean of each lattice node's cubic B-spline over each pixel of a row or column."""
    ends = np.arange(first, last + 1, dtype=np.float64) / step_px
    count = ceil(1 / step_px) + 2 * _REACH
    nodes = np.floor(ends[:-1]).astype(np.int64)[:, None] - (_REACH - 1) + np.arange(count)
    upper, lower = (_spline_integral(part[:, None] - nodes) for part in (ends[1:], ends[:-1]))
    means = (upper - lower) * step_px
    first_node = floor(first / step_px) - (_REACH - 1)
    width = int(nodes.max(initial=first_node)) - first_node + 1
    starts = np.arange(last - first + 1) * count
    table = (means.astype(np.float32).ravel(), (nodes - first_node).ravel(), starts)
    return first_node, scipy.sparse.csr_array(table, shape=(last - first, width))


def _spline_integral(t: FloatArray) -> FloatArray:
    """Integral of the cubic B-spline from its start to t, with its centre at 0."""
    t = np.clip(t, -_REACH, _REACH)
    total = (t + 2) ** 4
    for place, factor in ((-1, -4), (0, 6), (1, -4)):
        total = total + factor * np.maximum(t - place, 0) ** 4
    integral: FloatArray = total / 24
    return integral


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What a drawn scene is made from."""

    grid: Grid
    seed: int  # of all its streams
    faults: bool  # whether it has any

    def texture(self, number: int, grain_x_mm: float, grain_y_mm: float) -> Texture:
        """One of the scene's textures."""
        return Texture(seed=self.seed, number=number, grain_x_mm=grain_x_mm, grain_y_mm=grain_y_mm)

    def random(self, number: int) -> np.random.Generator:
        """One of the scene's streams for places and sizes."""
        return np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=(number,)))

    def at(self, places: FloatArray) -> FloatArray:
        """Turn shares of width and height, one pair a row, into places. [mm]."""
        size_mm = np.array([self.grid.width_mm, self.grid.height_mm])
        return np.asarray(places * size_mm)


Made = TypeVar("Made", bound=Painted)


@dataclass(frozen=True, slots=True)
class SceneMaker(Generic[Made]):
    """Makes a scene of any size."""

    made: Callable[[Scene], Made]

    def __call__(
        self,
        *,
        pixel_size_um: float,
        width_mm: float,
        height_mm: float,
        seed: int = 0,
        faults: bool = True,
    ) -> Made:
        """
        Make it as it runs along travel; another seed is another piece of the same product.

        Sizes of what is on it are in µm and mm, whatever the pixel size; places of faults are
        shares of width and height. Where two things meet inside one pixel they are laid over each
        other by their shares of its area. Reflectances and sizes are plausible for the trade
        (common practice, no source).
        """
        grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
        return self.made(Scene(grid=grid, seed=seed, faults=faults))
