"""What the sliders of the page span, by the setup that is opened."""

from itertools import pairwise
from typing import Any

import pytest

from linesim.figures.budget import budget
from linesim.forward.station import station as station_of
from linesim.preview.answer import Judged, words
from linesim.preview.controls import controls
from linesim.setup.load import changed
from linesim.setup.setup import Setup


def told(setup: Setup, key: str) -> dict[str, Any]:
    """Give what the page is told of a control."""
    (found,) = (each.described(setup) for each in controls(setup) if each.key == key)
    return found


@pytest.mark.parametrize("key", ["light.illuminance", "transport.speed", "camera.gain"])
def test_ticks_are_full_stops_from_where_the_setup_is(station: Setup, key: str) -> None:
    """Each is twice the one before, all along the slider, and one is the setup's own."""
    found = told(station, key)
    ticks = found["ticks"]
    assert found["value"] == pytest.approx(min(ticks, key=lambda each: abs(each - found["value"])))
    # six digits are told
    ratios = [after / before for before, after in pairwise(ticks)]
    assert ratios == pytest.approx([2.0] * len(ratios), rel=2e-5)
    assert ticks[0] < 2 * found["low"]
    assert ticks[-1] > found["high"] / 2


@pytest.mark.parametrize("magnification", [0.02, 0.1, 0.5])
def test_focus_reaches_well_out_of_the_depth_of_field(station: Setup, magnification: float) -> None:
    """Its ends are 4 to 10 times as far as that goes each way, and round."""
    setup = changed(station, {"lens.magnification": magnification})
    found = told(setup, "lens.defocus")
    half_mm = budget(setup).number("geometry", "depth_of_field_mm") / 2
    assert found["low"] == -found["high"]
    # a blur disc of 4 pixels, where the depth ends at one; then up to the next of 1, 2 or 5
    assert 4 <= found["high"] / half_mm <= 10
    assert f"{found['high']:.0e}"[0] in "125"


def test_a_target_far_out_of_focus_is_on_its_slider(station: Setup) -> None:
    """However far it is, both ends lie beyond."""
    setup = changed(station, {"lens.defocus": "-321 mm"})
    assert told(setup, "lens.defocus")["low"] < -321


def test_the_side_is_drawn_where_something_stands_somewhere(station: Setup) -> None:
    """With a working distance, though the light comes from everywhere; else there is nothing."""
    for changes, is_drawn in (({}, False), ({"lens.focal_length": "60 mm"}, True)):
        setup = changed(station, changes)
        side = words(Judged(setup=setup, numbers=station_of(setup), budget=budget(setup)))["side"]
        assert (side is not None) == is_drawn
    # m = 0.1: f (1 + 1/m)
    assert "lens 660 mm from the web" in side["alt"]
