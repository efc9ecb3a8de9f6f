"""Points along a range are the setups that the door would make, and their figures the budget's."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.batch.many import figures_of, groups_of, stacked
from linesim.studies.batch.points import Walk, walk
from linesim.studies.batch.ranges import ranges_of

BASE = setup_from(
    {
        "title": "Points",
        "target": {"image": "flat", "pixel_size": "20 um", "width": "10 mm", "height": "5 mm"},
        "transport": {"speed": "60 m/min"},
        "lens": {"magnification": 0.1, "blur": "2 um", "focal_length": "60 mm"},
        "light": {"illuminance": "40 klx"},
        "camera": {
            "pixels": 256,
            "pixel_width": "7.5 um",
            "prnu": 0.01,
            "dark_current": "100 ke/s",
            "max_line_rate": "40 kHz",
        },
        "requirement": {"smallest_defect": "300 um", "snr": 20},
    }
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


def laid(setup: Setup, texts: dict[str, str]) -> Walk:
    """Lay a setup along ranges."""
    return walk(setup, None, ranges_of(setup, texts))


RANGES = [
    (BASE, {"light.illuminance": "0lx:200klx:lin4"}),
    (BASE, {"transport.speed": "10m/min:90m/min:lin3", "lens.f_number": "2,8"}),
    (BASE, {"lens.magnification": "0.05:0.2:log3"}),
    (BASE, {"camera.pixel_width": "5um:9um:lin3"}),
    (BASE, {"camera.bit_depth": "8,12"}),
    (BASE, {"camera.tdi_stages": "1:16:log3"}),
    (BASE, {"acquisition.exposure": "10us:70us:lin3"}),
    (BASE, {"acquisition.line_rate": "5kHz:20kHz:lin3"}),
    (BASE, {"light.ambient": "0lx:500lx:lin2"}),
    (BASE, {"camera.quantum_efficiency": "0.2:0.8:lin3"}),
    (BASE, {"requirement.smallest_defect": "100um:400um:lin3"}),
    (BASE, {"target.white_reflectance": "0.2:0.9:lin2"}),
    (COLOUR, {"light.illuminance": "5klx:50klx:log3"}),
    (COLOUR, {"camera.light_share": "0.2,0.4"}),
    (ENCODER, {"transport.encoder_step": "4um:20um:lin4"}),
]


@pytest.mark.parametrize(("setup", "texts"), RANGES)
def test_points_and_figures_are_those_of_the_door(setup: Setup, texts: dict[str, str]) -> None:
    """
    Each point equals the setup that `changed` makes, and each figure that of its budget.

    The operations and numbers are the same; a routine for arrays and one for numbers may round a
    cosine or a root differently, by a few units in the last place, and a search ends where it is
    right to 1e-8 of its size or of d'.
    """
    along = laid(setup, texts)
    places = along.places
    groups = groups_of(along.ends)
    found = figures_of(along.points(places), groups, len(places), lambda _done, _total: None)
    for index, (place, point) in enumerate(zip(places, along.points(places), strict=True)):
        true = along.at(place)
        assert point == true
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
        list(laid(three, {"acquisition.row_height": "6um:9um:lin3"}).points([(6.0,), (7.5,)]))


def test_a_corner_that_the_door_refuses() -> None:
    """The last value breaks a relation: told before anything is worked out."""
    with pytest.raises(InputError, match="expected less than half of it"):
        laid(BASE, {"camera.black_level": "0:3000:lin3"})


def test_two_keys_that_exclude_each_other() -> None:
    """A range of W/m² on a setup in lux."""
    with pytest.raises(InputError, match="only one of the two can hold"):
        laid(BASE, {"light.irradiance": "1W/m^2:2W/m^2:lin2"})


def test_a_follower_takes_the_leaders_time_at_every_point() -> None:
    """
    At every speed, 2x2 has the exposure time of 1x1, though its own line period is twice as long.

    1x1 advances by 75 µm: at v its whole line period is 75 µm/v.
    """
    binned = changed(BASE, {"acquisition.binning": "2x2"})
    along = walk(binned, BASE, ranges_of(BASE, {"transport.speed": "300mm/s:1200mm/s:log3"}))
    for (speed,), point in zip(along.places, along.points(along.places), strict=True):
        for each in (point, along.at((speed,))):
            numbers = station(each)
            assert_allclose(numbers.timing.exposure_us, 75e3 / speed, rtol=1e-12)
            assert_allclose(numbers.timing.line_period_us, 150e3 / speed, rtol=1e-12)


def test_a_leader_without_time_to_expose() -> None:
    """Its dead time is longer than its line period: refused."""
    slow = changed(BASE, {"camera.dead_time": "100 us"})
    binned = changed(slow, {"acquisition.binning": "2x2"})
    along = walk(binned, slow, ranges_of(slow, {"camera.read_noise": "5e:6e:lin2"}))
    with pytest.raises(InputError, match="leaves no time to expose"):
        list(along.points(along.places))


def test_stacking() -> None:
    """Numbers that all share stay numbers; others become columns, colours side by side."""
    assert stacked([1.5, 1.5]) == 1.5
    assert_allclose(stacked([1.0, 2.0]), [[1.0], [2.0]])
    assert_allclose(stacked([np.array([1.0, 2, 3]), np.array([1.0, 2, 4])]), [[1, 2, 3], [1, 2, 4]])
    assert stacked(["disc", "disc"]) == "disc"
    assert stacked([(1.0, None), (1.0, None)]) == (1.0, None)
