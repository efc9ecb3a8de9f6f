"""Shares of discs, bells and splines against integration by other libraries."""

from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.interpolate import BSpline

from linesim.setup.arrays import FloatArray
from linesim.targets.coverage import bell, disc, leaning_strip
from linesim.targets.texture import spline_means


def disc_in_pixel(left: float, top: float, radius: float) -> float:
    """Area of a disc about 0 in the unit square at (left, top), by one quadrature."""

    def height(x: float) -> float:
        half = np.sqrt(max(radius**2 - x**2, 0.0))
        return float(max(min(top + 1, half) - max(top, -half), 0.0))

    levels = [top, top + 1]
    crossings = [np.sqrt(max(radius**2 - level**2, 0.0)) for level in levels]
    breaks = [sign * x for x in (*crossings, radius) for sign in (-1, 1)]
    inside = sorted({float(x) for x in breaks if left < x < left + 1})
    ends = [left, *inside, left + 1]
    return float(sum(quad(height, a, b, epsabs=1e-11)[0] for a, b in pairwise(ends)))


@pytest.mark.parametrize("radius", [0.2, 0.5, 0.75, 2.3])
def test_disc_equals_quadrature(radius: float) -> None:
    """Every pixel under a disc, wherever its centre, holds its area by `scipy.integrate`."""
    left, top = np.meshgrid(np.arange(-4.0, 4.0) + 0.31, np.arange(-4.0, 4.0) - 0.17)
    wanted = [
        disc_in_pixel(float(x), float(y), radius)
        for x, y in zip(left.ravel(), top.ravel(), strict=True)
    ]
    assert_allclose(disc(left, top, radius).ravel(), wanted, rtol=0, atol=1e-8)


@pytest.mark.parametrize("radius", [0.05, 0.5, 3.7])
def test_disc_keeps_its_area(radius: float) -> None:
    """All shares together are pi r² (derived), for a disc far smaller than a pixel as well."""
    left, top = np.meshgrid(np.arange(-6.0, 6.0) + 0.4, np.arange(-6.0, 6.0) - 0.23)
    assert disc(left, top, radius).sum() == pytest.approx(np.pi * radius**2, rel=1e-9)


def test_bell_equals_quadrature() -> None:
    """The pixel means of a Gaussian bell are its integrals by `scipy.integrate`."""

    def value(x: float) -> float:
        return float(np.exp(-((x - 2.3) ** 2) / (2 * 0.7**2)))

    wanted = [quad(value, pixel, pixel + 1, epsabs=1e-12)[0] for pixel in range(6)]
    assert_allclose(bell(2.3, 0.7, 0, 6), wanted, rtol=0, atol=1e-10)


@pytest.mark.parametrize("slope", [0.0, 0.3, -1.2])
def test_strip_keeps_its_width(slope: float) -> None:
    """
    Rows across a strip of width w sum to w sqrt(1 + slope²) (derived), under a pixel as well.

    That is the length which a row of pixels cuts out of the strip.
    """
    away: FloatArray = np.arange(-12.0, 12.0) + 0.37
    share = leaning_strip(away, np.asarray(slope), 0.3)
    assert share.sum() == pytest.approx(0.3 * np.hypot(1, slope), rel=1e-9)


@pytest.mark.parametrize("step_px", [0.4, 1.0, 3.7])
def test_texture_splines_equal_an_independent_spline(step_px: float) -> None:
    """
    Pixel means of the cubic B-splines equal those of scipy's, integrated by scipy.

    float32 weights up to 1: half a step is 2^-25.
    """
    first_node, means = spline_means(3, 9, step_px)
    table = means.toarray()
    spline = BSpline.basis_element(np.arange(-2.0, 3.0), extrapolate=False).antiderivative()
    for row, pixel in enumerate(range(3, 9)):
        for column in range(table.shape[1]):
            ends = np.array([pixel, pixel + 1]) / step_px - (first_node + column)
            low, high = spline(np.clip(ends, -2, 2))
            assert table[row, column] == pytest.approx((high - low) * step_px, abs=2.0**-24)
