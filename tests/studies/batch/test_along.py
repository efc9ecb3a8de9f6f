"""Points along a range are the setups that the door would make, and their figures the budget's."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.batch.along import Along, along
from linesim.studies.batch.figures import figures_of, groups_of
from linesim.studies.batch.ranges import ranges_of
from linesim.studies.batch.station_arrays import frame, joined
from tests.stations import plain_setup

BASE = plain_setup(
    "Points",
    target={"width": "10 mm", "height": "5 mm"},
    lens={"blur": "2 um", "focal_length": "60 mm"},
    camera={"prnu": 0.01, "dark_current": "100 ke/s", "max_line_rate": "40 kHz"},
    requirement={"smallest_defect": "300 um", "snr": 20},
)
COLOUR = changed(
    BASE,
    {
        "camera.kind": "three-line",
        "camera.line_spacing": "30 um",
        "acquisition.white_balance": "grey-card",
    },
)
ENCODER = changed(BASE, {"transport.trigger": "encoder", "transport.encoder_step": "9 um"})


ALL = np.arange(10)
SNR = {"snr_white": "signal"}


def laid(setup: Setup, texts: dict[str, str]) -> Along:
    """Lay a setup along ranges."""
    return along(setup, None, ranges_of(setup, texts))


RANGES = [
    (BASE, {"light.illuminance": "0lx:200klx:lin3"}),
    (BASE, {"transport.speed": "10m/min:90m/min:lin2", "lens.f_number": "2,8"}),
    (BASE, {"lens.magnification": "0.05:0.2:log3"}),
    (BASE, {"camera.pixel_width": "5um:9um:lin3"}),
    (BASE, {"camera.bit_depth": "8,12"}),
    (BASE, {"camera.tdi_stages": "1:16:log3"}),
    (BASE, {"acquisition.exposure": "10us:70us:lin3"}),
    (BASE, {"acquisition.line_rate": "5kHz:20kHz:lin3"}),
    (BASE, {"light.ambient": "0lx:500lx:lin2"}),
    (BASE, {"camera.line_noise": "0e:90e:lin2", "camera.crosstalk": "0,0.1"}),
    (BASE, {"camera.lag": "0:0.4:lin2", "camera.linearity_error": "0,0.02"}),
    (BASE, {"camera.quantum_efficiency": "0.2:0.8:lin3"}),
    (BASE, {"requirement.smallest_defect": "100um:400um:lin3"}),
    (BASE, {"target.white_reflectance": "0.2:0.9:lin2"}),
    (COLOUR, {"light.illuminance": "5klx:50klx:log3"}),
    (COLOUR, {"camera.light_share": "0.2,0.4"}),
    (ENCODER, {"transport.encoder_step": "4um:20um:lin3"}),
]


@pytest.mark.parametrize(("setup", "texts"), RANGES)
def test_points_and_figures_are_those_of_the_door(setup: Setup, texts: dict[str, str]) -> None:
    """
    Each point equals the setup that `changed` makes, and each figure that of its budget.

    The operations and numbers are the same; a routine for arrays and one for numbers may round a
    cosine or a root differently, by a few units in the last place, and a search ends where it is
    right to 1e-8 of its size or of d'.
    """
    space = laid(setup, texts)
    groups = groups_of(space.ends)
    found = figures_of(space, np.arange(space.count), groups)
    for index in range(space.count):
        true = space.setup(index)
        assert space.quick(index) == true
        expected = budget(true)
        for name, group in groups.items():
            value: Any = expected[group].get(name, np.nan)
            told = list(value.values()) if isinstance(value, dict) else [value]
            tolerance = 1e-7 if group == "detection" else 1e-11
            assert_allclose(found[name][index], told, rtol=tolerance, atol=1e-9, err_msg=name)


def test_each_point_is_checked_against_the_relations() -> None:
    """Both ends of a range are fine, its middle is not: refused with the door's own sentence."""
    three = changed(BASE, {"camera.row_heights": ["6 um", "9 um", "6 um"]})
    with pytest.raises(InputError, match=r"read \"7.5 um\", but no row of the sensor"):
        figures_of(laid(three, {"acquisition.row_height": "6um:9um:lin3"}), ALL[:3], SNR)


def test_a_corner_that_the_door_refuses() -> None:
    """The last value breaks a relation: told before anything is worked out."""
    with pytest.raises(InputError, match="expected less than half of it"):
        laid(BASE, {"camera.black_level": "0:3000:lin3"})


def test_a_range_takes_the_place_of_what_excludes_it() -> None:
    """A range of W/m² on a setup in lux: the lux are out, at both ends."""
    found = laid(BASE, {"light.irradiance": "1W/m^2:2W/m^2:lin2"})
    assert [each.irradiance_w_m2 for each in found.ends] == [1.0, 2.0]


def test_two_ranges_that_exclude_each_other() -> None:
    """Both W/m² and lux along ranges cannot be."""
    two = {"light.irradiance": "1W/m^2:2W/m^2:lin2", "light.illuminance": "1klx:2klx:lin2"}
    with pytest.raises(InputError, match="only one of the two can hold"):
        laid(BASE, two)


def test_a_follower_takes_the_leaders_time_at_every_point() -> None:
    """
    At every speed, 2x2 has the exposure time of 1x1, though its own line period is twice as long.

    1x1 advances by 75 µm: at v its whole line period is 75 µm/v.
    """
    binned = changed(BASE, {"acquisition.binning": "2x2"})
    space = along(binned, BASE, ranges_of(BASE, {"transport.speed": "300mm/s:1200mm/s:log3"}))
    got = figures_of(space, ALL[:3], {"exposure_us": "exposure"})["exposure_us"][:, 0]
    assert_allclose(got, [75e3 / speed for (speed,) in space.places], rtol=1e-12)
    for index, (speed,) in enumerate(space.places):
        for each in (space.quick(index), space.setup(index)):
            numbers = station(each)
            assert_allclose(numbers.timing.exposure_us, 75e3 / speed, rtol=1e-12)
            assert_allclose(numbers.timing.line_period_us, 150e3 / speed, rtol=1e-12)


def test_a_leader_without_time_to_expose() -> None:
    """Its dead time is longer than its line period: refused."""
    slow = changed(BASE, {"camera.dead_time": "100 us"})
    binned = changed(slow, {"acquisition.binning": "2x2"})
    space = along(binned, slow, ranges_of(slow, {"camera.read_noise": "5e:6e:lin2"}))
    for work in (lambda: figures_of(space, ALL[:2], SNR), lambda: space.setup(0)):
        with pytest.raises(InputError, match="leaves no time to expose"):
            work()


def test_an_option_without_time_to_expose() -> None:
    """Only the last dead time of a range is too long: refused with the sentence of its scan."""
    space = laid(BASE, {"camera.dead_time": "1us:80us:lin3"})
    figures_of(space, ALL[:2], SNR)
    with pytest.raises(InputError, match=r"camera.dead_time: read 80 us, .* no time is left"):
        figures_of(space, ALL[:3], SNR)


def test_options_stand_in_the_order_asked_for() -> None:
    """Words and numbers mixed, in any order: each row is that of its own option."""
    space = laid(BASE, {"camera.tdi_stages": "1,2,4", "light.illuminance": "4klx:9klx:log4"})
    mixed = np.random.default_rng(1).permutation(12)
    groups = SNR | {"defect_dprime": "detection", "image_lines": "geometry"}
    straight, turned = (figures_of(space, each, groups) for each in (np.arange(12), mixed))
    for name in groups:
        assert_allclose(turned[name], straight[name][mixed], rtol=1e-9)
    assert len(np.unique(straight["snr_white"])) == 12


def test_laying_into_one() -> None:
    """Numbers of several parts become columns, colours side by side; texts and gaps stay."""
    parts: list[Any] = [
        (1.5, "disc", None, np.array([1.0, 2, 3])),
        (np.array([[4.0], [5.0]]), "disc", None, 7),
    ]
    first, shape, gap, colours = joined(parts, (1, 2))
    assert_allclose(first, [[1.5], [4.0], [5.0]])
    assert (shape, gap) == ("disc", None)
    assert_allclose(colours, [[1, 2, 3], [7, 7, 7], [7, 7, 7]])


def test_what_can_be_laid_into_one() -> None:
    """Numbers may differ; a text, or what only one of two has, may not."""
    assert frame((1.0, "disc")) == frame((2.0, "disc"))
    assert frame((1.0, "disc")) != frame((1.0, "scratch-along"))
    assert frame((1.0, None)) != frame((1.0, 2.0))
