"""A star of sinusoidal spokes: every direction and a range of frequencies in one picture."""

from dataclasses import dataclass
from functools import partial
from math import ceil, pi, sqrt

import numpy as np

from linesim.forward.reference import Reference
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse
from linesim.targets.coverage import disc
from linesim.targets.painted import Grid, Painted, grid_of

MEAN = 0.5
"""Reflectance of the ground and of the centre."""

AMPLITUDE = 0.3
"""Amplitude of the sine, so that the star runs from 0.2 to 0.8."""

_FILL = 0.95  # share of the shorter side that the star takes
_NEAR_RINGS = 8  # inside this many Nyquist radii the pixel mean is integrated numerically
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_LEAST_PX = 1e-9  # no point is nearer to the middle, where there is no direction


@dataclass(frozen=True, slots=True, kw_only=True)
class _Star:
    grid: Grid
    cycles: int

    @property
    def outer_px(self) -> float:
        """Radius of the star. [px]."""
        return _FILL * min(self.grid.rows, self.grid.columns) / 2


def nyquist_radius_px(cycles: int) -> float:
    """Give the radius at which a star reaches the Nyquist frequency of its pixel grid."""
    return cycles / pi


def star(
    *, pixel_size_um: float, width_mm: float, height_mm: float, cycles: int = 144
) -> Reference:
    """
    Make a sinusoidal star about the centre of the target, as in ISO 12233:2014 and later.

    Inside the Nyquist radius of the reference itself no pixel grid can hold the pattern; there the
    star is its mean reflectance, and so is the ground around it. Within 8 Nyquist radii a pixel's
    mean is a 4 x 4 point Gauss-Legendre sum (good to 1e-5). Further out it is the closed form for a
    plane wave, cos(n phi) sinc(f_x) sinc(f_y), whose error, from the bend of the waves over one
    pixel, stays below n/(12 r²) of the amplitude, r in pixels: less than 0.0002 for the usual 72
    cycles.
    """
    grid = grid_of(pixel_size_um=pixel_size_um, width_mm=width_mm, height_mm=height_mm)
    shape = _Star(grid=grid, cycles=cycles)
    if cycles < 1 or shape.outer_px <= nyquist_radius_px(cycles):
        refuse(
            f"target.width, target.height: {grid.columns} x {grid.rows} px cannot show a star of "
            f"{cycles} cycles, expected the shorter side above "
            f"{2 * nyquist_radius_px(max(cycles, 1)) / _FILL:.0f} px"
        )
    # few rows at a time keep the float64 work inside the processor's cache
    return Painted(grid=grid, paint=partial(_paint, shape), at_once=0)


def _paint(shape: _Star, first: int, last: int) -> ImageArray:
    """Work out the right half; the left one is its mirror image, of other sign for odd cycles."""
    columns = shape.grid.columns
    image = np.full((last - first, columns), MEAN, dtype=np.float32)
    y: FloatArray = np.arange(first, last, dtype=np.float64)[:, None] + 0.5 - shape.grid.rows / 2
    chord2 = (shape.outer_px + 1) ** 2 - float(np.abs(y).min(initial=shape.grid.rows)) ** 2
    begin, end = columns // 2, min(columns, ceil(columns / 2 + sqrt(max(chord2, 0))))
    if begin < end:
        x: FloatArray = np.arange(begin, end, dtype=np.float64)[None] + 0.5 - columns / 2
        wave = AMPLITUDE * _wave(shape, x, y)
        image[:, begin:end] = MEAN + wave
        # the middle column of an odd number has no other side
        beside = wave[:, columns % 2 :][:, ::-1]
        left = image[:, columns - end :][:, : beside.shape[1]]
        left[...] = MEAN - beside if shape.cycles % 2 else MEAN + beside
    return image


def _wave(shape: _Star, x: FloatArray, y: FloatArray) -> FloatArray:
    """Give the wave, of amplitude 1, over pixels with their middles at x and y. [px]."""
    ring_px = nyquist_radius_px(shape.cycles)
    radius_px = np.sqrt(x * x + y * y)
    near = np.nonzero((radius_px > ring_px - 1) & (radius_px < _NEAR_RINGS * ring_px))
    wave = _plane_wave(x, y, radius_px, shape.cycles)
    wave[near] = _integrated(x[0, near[1]], y[near[0], 0], shape.cycles)
    wave *= _round(x, y, radius_px, shape.outer_px) - _round(x, y, radius_px, ring_px)
    return wave


def _round(x: FloatArray, y: FloatArray, radius_px: FloatArray, outer_px: float) -> FloatArray:
    """Share of each pixel inside a circle about 0; worked out only where the circle passes."""
    covered = (radius_px < outer_px).astype(np.float64)
    rim = np.nonzero(np.abs(radius_px - outer_px) < 1)
    covered[rim] = disc(x[0, rim[1]] - 0.5, y[rim[0], 0] - 0.5, outer_px)
    return covered


def _plane_wave(x: FloatArray, y: FloatArray, radius_px: FloatArray, cycles: int) -> FloatArray:
    """
    Mean of cos(n phi) over each pixel far out, the wave taken as straight within it.

    Beyond 8 Nyquist radii pi f is below pi/16, and the first terms of the two sinc factors
    are good to 1e-8.
    """
    scale = (cycles / 2 / np.maximum(radius_px, 1) ** 2) ** 2  # (pi f)² = scale · (y², x²)
    loss_x, loss_y = scale * y * y, scale * x * x
    wave = _spokes(x, y, cycles)
    wave *= 1 - loss_x * (1 / 6 - loss_x / 120)
    wave *= 1 - loss_y * (1 / 6 - loss_y / 120)
    return wave


def _spokes(x: FloatArray, y: FloatArray, cycles: int) -> FloatArray:
    """
    Give cos(n phi), the real part of ((x + iy)/r)^n, by squaring: off by some n · 2^-53 at most.

    No angle is worked out, which would take most of the time. For even n it starts from the square,
    for which r need not be known.
    """
    if cycles % 2:
        radius_px = np.maximum(np.sqrt(x * x + y * y), _LEAST_PX)
        cosine, sine, times = x / radius_px, y / radius_px, cycles
    else:
        over = 1 / np.maximum(x * x + y * y, _LEAST_PX**2)
        cosine, sine, times = (x * x - y * y) * over, 2 * x * y * over, cycles // 2
    while times % 2 == 0:
        cosine, sine, times = cosine * cosine - sine * sine, 2 * cosine * sine, times // 2
    real, imaginary = cosine, sine
    while times := times // 2:
        cosine, sine = cosine * cosine - sine * sine, 2 * cosine * sine
        if times % 2:
            real, imaginary = (real * cosine - imaginary * sine, real * sine + imaginary * cosine)
    return np.asarray(real)


def _integrated(x: FloatArray, y: FloatArray, cycles: int) -> FloatArray:
    """Mean of cos(n phi) over each pixel, summed over Gauss-Legendre points."""
    total = np.zeros_like(x)
    for node_y, weight_y in zip(_NODES / 2, _WEIGHTS / 2, strict=True):
        for node_x, weight_x in zip(_NODES / 2, _WEIGHTS / 2, strict=True):
            total += weight_x * weight_y * _spokes(x + node_x, y + node_y, cycles)
    return total
