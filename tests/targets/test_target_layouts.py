"""What is drawn lies where its layout says, and nothing is drawn that the grid cannot hold."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.setup.arrays import FloatArray
from linesim.targets.bars import bar_layout, bars
from linesim.targets.star import nyquist_radius_px, star
from linesim.targets.steps import step_reflectances, steps


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


def test_star_is_its_mean_inside_its_own_nyquist_ring() -> None:
    """No pattern is drawn where the reference's own grid cannot hold it."""
    image = star(pixel_size_um=20.0, width_mm=4.0, height_mm=4.0, cycles=72).rows(0, 200)
    place: FloatArray = np.arange(200, dtype=np.float64) - 99.5
    radius_px = np.hypot(place, place[:, None])
    ring_px = nyquist_radius_px(72)
    assert (image[radius_px < ring_px - 0.71] == 0.5).all()
    assert image[(radius_px > ring_px + 0.71) & (radius_px < ring_px + 4)].std() > 0.1


def test_steps_lie_in_their_bands() -> None:
    """Each band holds its reflectance, also where its ends cut a pixel (row means exact)."""
    image = steps(pixel_size_um=20.0, width_mm=0.1, height_mm=2.5).rows(0, 125)
    for index, reflectance in enumerate(step_reflectances()):
        first, last = (place * 125 / 12 for place in (index, index + 1))
        whole = image[int(np.ceil(first)) : int(last)]
        assert_allclose(whole, np.float32(reflectance), rtol=1e-6)
    # the whole wedge: 12 equal bands, float32 rounding of 125 rows averages out below 1e-7
    assert image.mean(dtype=np.float64) == pytest.approx(step_reflectances().mean(), abs=1e-7)
