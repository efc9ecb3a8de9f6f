"""Bars, star and steps against printed tables and against integration."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import dblquad

from linesim.targets.bars import bar_frequency_lp_mm, bar_layout
from linesim.targets.star import nyquist_radius_px, star
from linesim.targets.steps import step_reflectances


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


@pytest.mark.parametrize(("cycles", "radius_px"), [(36, 11.459), (72, 22.918), (144, 45.837)])
def test_star_nyquist_ring(cycles: int, radius_px: float) -> None:
    """Half a cycle per pixel at radius n/pi: f = n/(2 pi r) (derived)."""
    assert round(nyquist_radius_px(cycles), 3) == radius_px


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
    """A pixel is the mean of 0.5 + 0.3 cos(n phi) over its area, by `scipy.integrate`."""
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
