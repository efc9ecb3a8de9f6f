"""Lights that shine in turn, and a delayed trigger: where lines start, and what they see."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.figures.budget import budget
from linesim.forward.station import station
from linesim.forward.transport import LineTable, first_line_um, line_table, motion
from linesim.setup.lights import light_views
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

Changes = dict[str, Any]
PIXEL_UM, ADVANCE_UM, LINES = 25.0, 75.0, 40
THREE = plain_setup(
    "In turn",
    target={"pixel_size": f"{PIXEL_UM} um", "height": "9 mm"},
    light={"irradiance": "60 W/m^2", "multiplexed": True, "illuminance": None},
    light_2={"irradiance": "40 W/m^2"},
    light_3={"irradiance": "20 W/m^2"},
    camera={"pixels": 32, "dead_time": "2 us"},
    acquisition={"lines": LINES},
)
ENCODER: Changes = {"transport.trigger": "encoder", "transport.encoder_step": "5 um"}
RIPPLE: Changes = {"transport.speed_ripple": 0.2, "transport.ripple_frequency": "60 Hz"}


def views(changes: Changes) -> list[Setup]:
    """Give the three stations, changed first."""
    return [view for _, view in light_views(changed(THREE, changes))]


def lines(setup: Setup) -> LineTable:
    """Place the lines of a scan."""
    return line_table(setup, station(setup), 0, np.arange(LINES, dtype=np.float64))


@pytest.mark.parametrize(
    ("changes", "advance_um"),
    [
        ({}, ADVANCE_UM),
        ({"transport.assumed_speed": "40 m/min"}, 1.5 * ADVANCE_UM),
        ({"acquisition.line_rate": "30 kHz"}, 100.0),
        (ENCODER, ADVANCE_UM),
        ({**ENCODER, **RIPPLE}, ADVANCE_UM),
        ({**ENCODER, "transport.encoder_divider": 4}, 60.0),
        ({**ENCODER, "transport.encoder_step": "20 um"}, 60.0),
    ],
)
def test_a_picture_lies_a_third_of_a_line_behind_the_one_before(
    changes: Changes, advance_um: float
) -> None:
    """
    Lines of picture k start (k - 1)/3 of a line further on.

    Derived: the camera advances by a third of a picture's line. At 1 m/s 30 kHz are 33.3 um, 4
    counts of 5 um are 20 um; of 20 um counts the nearest to 25 um is one. Rounding in float64.
    """
    for index, view in enumerate(views(changes)):
        wanted_um = advance_um * (np.arange(LINES) + index / 3)
        assert_allclose(lines(view).start_um, wanted_um, rtol=1e-12, atol=1e-9)
        assert first_line_um(view, station(view)) == pytest.approx(wanted_um[0], abs=1e-9)


def test_a_clock_starts_pictures_at_equal_times_through_a_ripple() -> None:
    """All lines of all pictures, put in order, are those of one camera at three times the rate."""
    seen_um = np.stack([lines(view).start_um for view in views(RIPPLE)], axis=1).ravel()
    time_s = np.arange(3 * LINES) * ADVANCE_UM / 3 * 1e-6  # at 1 m/s a micrometre a microsecond
    wanted_um = motion(changed(THREE, RIPPLE)).place_um(time_s)
    assert_allclose(seen_um, wanted_um, rtol=1e-12, atol=1e-9)


@pytest.mark.parametrize("trigger", [{}, ENCODER])
def test_a_delay_is_travel_at_the_speed_of_its_moment(trigger: Changes) -> None:
    """Each line lies as much further on as the web moves in the delay after its trigger."""
    alone = views({**trigger, **RIPPLE})[0]
    late = changed(alone, {"acquisition.trigger_delay": "300 us"})
    web, start_um = motion(alone), lines(alone).start_um
    wanted_um = web.place_um(web.time_s(start_um) + 300e-6)
    assert_allclose(lines(late).start_um, wanted_um, rtol=1e-10, atol=1e-6)
    assert np.ptp(wanted_um - start_um) > 0.05 * 300


def test_no_delay_is_no_change() -> None:
    """A delay of 0 leaves every byte as it is without the key."""
    alone = views({**ENCODER, **RIPPLE})[1]
    none = changed(alone, {"acquisition.trigger_delay": "0 us"})
    one, other = scan(alone, 3, workers=1), scan(none, 3, workers=1)
    assert_array_equal(one.image, other.image)


@pytest.mark.parametrize("trigger", [{}, ENCODER])
def test_a_picture_is_that_of_its_light_alone_on_a_target_moved_on(trigger: Changes) -> None:
    """
    Picture k is a scan of light k alone, exposed as long, of the target (k - 1) pixels on.

    A third of a line is one pixel of the reference, so that a reference that goes round and is
    moved is exact. Exposure: a third of 75 us less 2 us (derived). Both are rounded to float32 on
    their way: 4 x 2^-24 of the brightest.
    """
    seen = np.random.default_rng(4).uniform(0.1, 1.0, (140, 100)).astype(np.float32)
    for index, view in enumerate(views({**trigger, "target.repeat": True})):
        alone = changed(
            THREE,
            {
                **trigger,
                "target.repeat": True,
                "light_2": None,
                "light_3": None,
                "light.multiplexed": None,
                "light.irradiance": f"{60 - 20 * index} W/m^2",
                "acquisition.exposure": "23 us",
            },
        )
        found = scan(view, reference=seen, workers=1)
        wanted = scan(alone, reference=np.roll(seen, -index, axis=0), workers=1)
        brightest_e = float(wanted.expected_e.max())
        assert_allclose(found.expected_e, wanted.expected_e, rtol=0, atol=2.4e-7 * brightest_e)
        beside = scan(alone, reference=np.roll(seen, -index - 1, axis=0), workers=1)
        assert not np.allclose(found.expected_e, beside.expected_e, rtol=0.05)
        assert found.budget.number("exposure", "exposure_us") == pytest.approx(23.0, rel=1e-12)


@pytest.mark.parametrize("trigger", [{}, ENCODER])
def test_the_edge_is_crossed_a_third_of_a_line_sooner(trigger: Changes) -> None:
    """
    Counted in lines of its picture, an edge across travel lies (k - 1)/3 lower in picture k.

    An edge at row r has its middle where what a line sees is half over it: the light of all lines
    before it adds up to the place, exact for a box however blurred. Tolerance: float32 sums.
    """
    dark_to = 96
    seen = np.ones((140, 100), dtype=np.float32)
    seen[:dark_to] = 0.0
    places = []
    for view in views(
        {**trigger, "light_2.irradiance": "60 W/m^2", "light_3.irradiance": "60 W/m^2"}
    ):
        level = scan(view, reference=seen, workers=1).expected_e[:, 16].astype(np.float64)
        places.append(LINES - level.sum() / level[-1])
    assert_allclose(np.diff(places), -1 / 3, atol=1e-5)
    # the middle of what a line sees lies half its footprint and half its travel behind its start
    assert places[0] == pytest.approx(
        (dark_to * PIXEL_UM - (75 + 23) / 2) / ADVANCE_UM + 0.5, abs=1e-5
    )


@pytest.mark.parametrize(("delay", "ends"), [("5.9 ms", False), ("6.2 ms", True)])
def test_a_delay_that_leads_off_the_target_is_told(delay: str, *, ends: bool) -> None:
    """3 mm of lines fit on 9 mm of target up to a delay of 6 ms at 1 m/s (derived)."""
    late = changed(views({})[0], {"acquisition.trigger_delay": delay})
    assert ("reference_ends" in {each.code for each in budget(late).cautions}) == ends
