"""Bars, star and steps against published tables and against integration."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import dblquad

from linesim.setup.arrays import FloatArray
from linesim.targets.bars import bar_frequency_lp_mm, bar_layout, bars
from linesim.targets.star import nyquist_radius_px, star
from linesim.targets.steps import step_bands, step_reflectances, steps


@pytest.mark.parametrize(
    ("group", "element", "printed", "digits"),
    [
        (-2, 1, 0.250, 3),
        (0, 1, 1.00, 2),
        (0, 6, 1.78, 2),
        (1, 3, 2.52, 2),
        (2, 5, 6.35, 2),
        (3, 4, 11.31, 2),
        (4, 1, 16.00, 2),
        (7, 6, 228.1, 1),
    ],
)
def test_bar_frequencies_are_those_of_the_table(
    group: int, element: int, printed: float, digits: int
) -> None:
    """Line pairs per mm as tabulated for MIL-STD-150A targets, to the printed digits."""
    assert round(bar_frequency_lp_mm(group, element), digits) == printed


@pytest.mark.parametrize(
    ("group", "element", "width_um"),
    [(0, 1, 500.0), (0, 6, 280.6), (1, 3, 198.4), (2, 5, 78.7), (3, 4, 44.2)],
)
def test_bar_sets_have_the_standard_proportions(group: int, element: int, width_um: float) -> None:
    """Bar width 1/(2R) (table), length 5 widths, three bars, both directions (MIL-STD-150A)."""
    layout = bar_layout(pixel_size_um=10.0, width_mm=40.0, height_mm=40.0)
    found = [one for one in layout.sets if (one.group, one.element) == (group, element)]
    assert [one.alternates for one in found] == ["across", "along"]
    for one in found:
        assert round(one.bar_width_mm * 1000, 1) == width_um
        assert len(one.boxes) == 3
        for left, top, right, bottom in one.boxes:
            sides = sorted((right - left, bottom - top))
            assert_allclose(sides, [one.bar_width_mm, 5 * one.bar_width_mm], rtol=1e-9)


def test_bars_hold_their_exact_area() -> None:
    """
    The dark area of the picture is that of all rectangles, none of which overlaps.

    Tolerance: 1.44 million float32 values near 0.8, each rounded by at most 3e-8 a few times
    with either sign; 1e-7 of the mean is above the worst case of three equal roundings.
    """
    layout = bar_layout(pixel_size_um=30.0, width_mm=36.0, height_mm=36.0)
    area_mm2 = sum((box[2] - box[0]) * (box[3] - box[1]) for box in layout.boxes)
    image = bars(pixel_size_um=30.0, width_mm=36.0, height_mm=36.0).rows(0, 1200)
    mean = image.mean(dtype=np.float64)
    assert mean == pytest.approx(0.8 - 0.75 * area_mm2 / 36.0**2, abs=1e-7)


def test_a_bar_set_lies_where_the_layout_says() -> None:
    """Bars are darkest, spaces are ground, at the places that ``bar_layout`` tells."""
    reference = bars(pixel_size_um=10.0, width_mm=40.0, height_mm=40.0)
    layout = bar_layout(pixel_size_um=10.0, width_mm=40.0, height_mm=40.0)
    for one in layout.sets:
        width_px = one.bar_width_mm / 0.01
        middle = round((one.y_mm + one.size_mm / 2) / 0.01 - 0.5)
        left = one.x_mm / 0.01
        line = reference.rows(middle, middle + 1)[0]
        if one.alternates == "along":  # the middle row lies in the middle bar
            line = reference.rows(middle - 2, middle + 2).min(axis=0)
            assert line[round(left + 2.5 * width_px)] == pytest.approx(0.05, abs=1e-6)
            continue
        ends = left + width_px * np.arange(6)
        reached = np.concatenate(([0.0], np.cumsum(line, dtype=np.float64)))
        means = np.diff(np.interp(ends, np.arange(reached.size), reached)) / width_px
        dark, light = means[[0, 2, 4]], means[[1, 3]]
        # interpolation spreads a shared edge pixel evenly: at most half a pixel's contrast
        # of 0.75 · 1/4 falls on the wrong side at each of two ends
        assert (dark < 0.05 + 0.75 / 2 / width_px).all()
        assert (light > 0.8 - 0.75 / 2 / width_px).all()


@pytest.mark.parametrize(("cycles", "radius_px"), [(36, 11.459), (72, 22.918), (144, 45.837)])
def test_star_nyquist_ring(cycles: int, radius_px: float) -> None:
    """Half a cycle per pixel at radius n/pi: f = n/(2 pi r) (derived)."""
    assert round(nyquist_radius_px(cycles), 3) == radius_px


def test_star_is_its_mean_inside_its_own_nyquist_ring() -> None:
    """No pattern is drawn where the reference's own grid cannot hold it."""
    image = star(pixel_size_um=20.0, width_mm=4.0, height_mm=4.0, cycles=72).rows(0, 200)
    place: FloatArray = np.arange(200, dtype=np.float64) - 99.5
    radius_px = np.hypot(place, place[:, None])
    ring_px = nyquist_radius_px(72)
    assert (image[radius_px < ring_px - 0.71] == 0.5).all()
    assert image[(radius_px > ring_px + 0.71) & (radius_px < ring_px + 4)].std() > 0.1


@pytest.mark.parametrize(
    ("row", "column", "tolerance"),
    [
        (100, 124, 1e-5),  # on the ring, where Gauss-Legendre with 4 x 4 points is worst
        (120, 120, 1e-5),
        (100, 250, 1e-5),
        # beyond 8 rings (183 px): amplitude 0.3 · n/(12 r²), n = 72
        (100, 290, 0.3 * 72 / (12 * 190**2)),
        (240, 240, 0.3 * 72 / (12 * 198**2)),
    ],
)
def test_star_pixels_equal_integrals(row: int, column: int, tolerance: float) -> None:
    """A pixel is the mean of 0.5 + 0.3 cos(n phi) over its area."""
    reference = star(pixel_size_um=20.0, width_mm=12.0, height_mm=12.0, cycles=72)
    seen = reference.rows(row + 200, row + 201)[0, column + 200]

    def value(y: float, x: float) -> float:
        return float(0.5 + 0.3 * np.cos(72 * np.arctan2(y, x)))

    left, top = column - 100.0, row - 100.0
    wanted, _ = dblquad(value, left, left + 1, top, top + 1, epsabs=1e-8)
    assert seen == pytest.approx(wanted, abs=tolerance + 1e-7)


def test_steps_are_equal_in_density() -> None:
    """
    Optical density D = -log10(R) (ISO 5, from memory) rises by 0.15 a step from R = 0.9.

    A density of 0.30 is a factor 0.5012 (handbook value of 10^-0.3), here two steps.
    """
    reflectances = step_reflectances()
    assert_allclose(np.diff(-np.log10(reflectances)), 0.15, rtol=0, atol=1e-12)
    assert reflectances[0] == 0.9
    assert_allclose(reflectances[2:] / reflectances[:-2], 0.501187, rtol=1e-6)


def test_steps_lie_in_their_bands() -> None:
    """Each band holds its reflectance, also where its ends cut a pixel (row means exact)."""
    image = steps(pixel_size_um=20.0, width_mm=0.1, height_mm=2.5).rows(0, 125)
    for band in step_bands(height_mm=2.5):
        first, last = (place / 0.02 for place in (band.y_mm, band.y_mm + band.height_mm))
        whole = image[int(np.ceil(first)) : int(last)]
        assert_allclose(whole, np.float32(band.reflectance), rtol=1e-6)
    # the whole wedge: 12 equal bands, float32 rounding of 125 rows averages out below 1e-7
    assert image.mean(dtype=np.float64) == pytest.approx(step_reflectances().mean(), abs=1e-7)
