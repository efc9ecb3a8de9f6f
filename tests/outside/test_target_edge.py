"""Pixel shares of a slanted edge against integration and clipping done elsewhere."""

from math import cos, radians, sin

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from linesim.targets.coverage import half_plane
from linesim.targets.edge import edge

Point = tuple[float, float]
FLOAT32_STEP = 2.0**-24  # half a step of float32 just below 1


def clipped_area(distance: float, normal: Point) -> float:
    """Area of the unit square where n·p + d > 0: polygon clipping, then the shoelace formula."""
    corners = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]
    kept: list[Point] = []
    for one, two in zip(corners, corners[1:] + corners[:1], strict=True):
        d1, d2 = (distance + normal[0] * x + normal[1] * y for x, y in (one, two))
        if d1 > 0:
            kept.append(one)
        if (d1 > 0) != (d2 > 0):
            t = d1 / (d1 - d2)
            kept.append((one[0] + t * (two[0] - one[0]), one[1] + t * (two[1] - one[1])))
    crosses = [a[0] * b[1] - b[0] * a[1] for a, b in zip(kept, kept[1:] + kept[:1], strict=True)]
    return abs(sum(crosses)) / 2


@pytest.mark.parametrize("angle_deg", [-90.0, -37.0, 0.0, 1e-6, 5.0, 30.0, 45.0, 85.0, 90.0])
def test_share_equals_clipped_polygon(angle_deg: float) -> None:
    """The closed form is the area that clipping the square leaves (derived)."""
    normal = (cos(radians(angle_deg)), sin(radians(angle_deg)))
    distances = np.linspace(-0.8, 0.8, 97)
    wanted = [clipped_area(float(distance), normal) for distance in distances]
    assert_allclose(half_plane(distances, *normal), wanted, rtol=0, atol=1e-9)


def test_edge_pixels_equal_integrals() -> None:
    """
    Each pixel is dark + (light - dark) · share, the share by `scipy.integrate.quad`.

    Light 0.8 and dark 0.2 are 4:1. float32 holds values below 1 to 2^-24 half a step; the
    quadrature is asked for 1e-10.
    """
    image = edge(pixel_size_um=20.0, width_mm=0.18, height_mm=0.14, angle_deg=20.0).rows(0, 7)
    slope = sin(radians(20.0)) / cos(radians(20.0))

    def light_width(y: float, left: float) -> float:
        return float(np.clip(left + 1 + y * slope, 0, 1))

    for row in range(7):
        for column in range(9):
            left, top = column - 4.5, row - 3.5
            kinks = [(-left - end) / slope for end in (0, 1)]
            share, _ = quad(
                light_width, top, top + 1, args=(left,), epsabs=1e-10, points=sorted(kinks)
            )
            assert image[row, column] == pytest.approx(0.2 + 0.6 * share, abs=FLOAT32_STEP + 1e-9)


@pytest.mark.parametrize("angle_deg", [0.0, 5.0, 45.0, 85.0])
def test_edge_mean_is_half_light_half_dark(angle_deg: float) -> None:
    """An edge through the centre halves the target: mean (0.8 + 0.8/contrast)/2 (derived)."""
    image = edge(
        pixel_size_um=10.0, width_mm=0.83, height_mm=0.57, angle_deg=angle_deg, contrast=10.0
    ).rows(0, 57)
    assert image.mean(dtype=np.float64) == pytest.approx(0.44, abs=FLOAT32_STEP)


def test_edge_response_of_a_square_pixel() -> None:
    """
    The column sums follow the edge across rows: 1 row moves it by tan(5°) pixels.

    The light length of each row is its width/2 plus y tan(angle), y the row's centre; exact as
    long as the edge stays inside the row. ISO 12233 slants the edge so that this sampling is
    finer than a pixel.
    """
    image = edge(pixel_size_um=10.0, width_mm=1.0, height_mm=2.0, contrast=4.0).rows(0, 200)
    light_px = ((image.astype(np.float64) - 0.2) / 0.6).sum(axis=1)
    y_px = np.arange(200) - 99.5
    # 100 values, each off by at most half a float32 step, over the 0.6 between dark and light
    assert_allclose(light_px, 50 + y_px * np.tan(np.radians(5.0)), rtol=0, atol=100 * 2e-7)
