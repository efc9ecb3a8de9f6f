"""Sizes read off a table for many signals are those that `linesim.metrics.detection` finds."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.forward.station import Station, station
from linesim.metrics.defect_shapes import Disc, Scratch, Shape
from linesim.metrics.defect_sizes import smallest_um
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed, sample_setup
from linesim.study.size_table import smallest_found_um
from linesim.study.station_arrays import leaves, mapped

BLURS: tuple[dict[str, Any], ...] = (
    {},
    {"lens.f_number": 16.0},
    {"lens.defocus": "6 mm", "acquisition.binning": "2x2"},
    {"acquisition.exposure": "5 us", "lens.blur": "12 um", "acquisition.binning": "1x2"},
)
WANTED = 5.0


def disc(width_um: Any) -> Shape:  # noqa: ANN401 -- a number or an array
    """Give a round defect."""
    return Disc(diameter_um=width_um)


def scratch(width_um: Any) -> Shape:  # noqa: ANN401 -- a number or an array
    """Give one along travel, 3 mm long."""
    return Scratch(across_um=width_um, along_um=3000.0)


def stations() -> tuple[Station, list[Station]]:
    """Give the blurs in one station of columns, and one by one."""
    each = [station(changed(sample_setup(), blur)) for blur in BLURS]
    columns = iter(np.array([leaves(one) for one in each], dtype=np.float64).T)
    return mapped(each[0], lambda _: next(columns)[:, None]), each


@pytest.mark.parametrize("of_width", [disc, scratch])
@pytest.mark.parametrize("decades", [0.3, 4.0])
def test_sizes_are_those_found_one_by_one(of_width: Any, decades: float) -> None:  # noqa: ANN401 -- a function
    """
    Over a narrow and a wide range of light, four blurs, with and without streaks.

    The integrals hold to 0.002 from 0.1 to 30 pixels (`linesim.metrics.defect_energy`) and ripple
    over the size below that, where a soft lens meets a large defect; the table is asked for a
    twentieth of it. Behind a sharp lens it is right to 1e-9.
    """
    many, each = stations()
    light = np.logspace(-decades / 2, decades / 2, 9)
    blur = np.repeat(np.arange(len(each)), len(light))
    numbers = [_lit(one, light) for one in each]
    noise = np.concatenate([_per_depth(one, one.noise_e(_white(one))) for one in numbers])
    streaks = np.concatenate([_per_depth(one, one.pattern_e(_white(one))) for one in numbers])
    got = smallest_found_um(many, of_width, blur, noise, streaks)
    wanted = np.concatenate([smallest_um(one, of_width, WANTED, contrast=0.2) for one in numbers])
    pixels = wanted / np.asarray(many.geometry.object_pixel_x_um)[blur, 0]
    seen = (pixels > 0.1) & (pixels < 30)
    assert seen.sum() > len(seen) / 3
    np.testing.assert_allclose(got[seen], wanted[seen], rtol=1e-4)


def _lit(one: Station, light: FloatArray) -> Station:

    return replace(one, irradiance_w_m2=np.asarray(one.irradiance_w_m2) * light)


def _per_depth(one: Station, noise_e: Any) -> FloatArray:  # noqa: ANN401 -- a number or an array
    return np.square(np.asarray(WANTED * noise_e / (0.2 * _white(one)), dtype=np.float64))


def _white(one: Station) -> FloatArray:
    return np.asarray(one.electrons_white)


def test_no_light_and_nothing_asked() -> None:
    """Without light nothing is found, where nothing is asked for everything; one blur may idle."""
    many, _ = stations()
    blur = np.array([0, 0, 1])
    got = smallest_found_um(many, disc, blur, np.array([np.inf, 0.0, 1e-3]), np.zeros(3))
    assert_array_equal(got[:2], [np.inf, 0.0])
    assert 0 < got[2] < 1000


def test_what_no_size_shows() -> None:
    """A signal that 1000 object pixels would not show counts as none."""
    many, _ = stations()
    got = smallest_found_um(many, disc, np.array([0]), np.array([1e9]), np.array([1e6]))
    assert_array_equal(got, [np.inf])
