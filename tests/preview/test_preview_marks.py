"""Marks along sliders, the first sentence, and defects that are put in."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.figures.clipping import unclipped_ratio
from linesim.figures.verdicts import worst_state
from linesim.forward.station import station as numbers_of
from linesim.preview.desk import Desk
from linesim.preview.headline import headline, limiting
from linesim.preview.variant import Variant
from linesim.setup.load import changed
from linesim.setup.setup import Setup

if TYPE_CHECKING:
    from tests.preview.conftest import Client

STEP = (2000 / 0.1) ** (1 / 320)
"""A slider of light runs from 0.1 to 2000 klx; borders are found to a 320th of its length."""


def test_light_clips_from_the_mark_on(client: "Client", station: Setup) -> None:
    """The mark stands at the light from which on the verdict says that it clips."""
    found = client.talk("marks", {"key": "light.illuminance", "changes": {}})
    share = max(v.got for v in budget(station).verdicts if v.requirement == "clipping")
    klx = 60 * unclipped_ratio(numbers_of(station), share)
    ((first, last),) = found["clips"]
    assert klx <= first <= klx * STEP
    assert last == 2000


@pytest.fixture(scope="module")
def able(station: Setup) -> Setup:
    """Ask for less, so that all is met."""
    return changed(station, {"requirement.snr": 15})


@pytest.fixture(scope="module")
def desk(able: Setup) -> Iterator[Desk]:
    """Lend what the server asks."""
    found = Desk(able, "small.toml", 2)
    yield found
    found.close()


@pytest.mark.parametrize(
    ("key", "ends"), [("light.illuminance", (0.1, 2000)), ("lens.f_number", (1, 32))]
)
def test_all_is_met_between_the_marks(desk: Desk, key: str, ends: tuple[float, float]) -> None:
    """At the ends of a band all is met; a little beyond, where the slider goes on, it is not."""
    ((low, high),) = desk.marks({"key": key, "changes": {}})["met"]
    step = (ends[1] / ends[0]) ** (1 / 320)
    for value, out in ((low, 1 / step), (high, step)):
        states = [
            worst_state(budget(desk.variant({"changes": {key: told(key, each)}}).setup).verdicts)
            for each in (value, min(max(value * out, ends[0]), ends[1]))
        ]
        assert states[0] == "met"
        assert states[1] != "met" or value in ends


def told(key: str, value: float) -> object:
    """Write a value as the page does."""
    return f"{value!r} klx" if key == "light.illuminance" else value


class Interrupted(Desk):
    """A desk that is asked for a picture once marks have been begun."""

    asked = False

    def variant(self, ask: Mapping[str, Any]) -> Variant:
        """Look in between, at something that is refused at once."""
        if not self.asked:
            self.asked = True
            self.answer({"seed": -1})
        return super().variant(ask)


def test_pictures_go_before_marks(able: Setup) -> None:
    """A picture that is asked for meanwhile ends the work on marks, and so does Ctrl-C."""
    desk = Interrupted(able, "small.toml", 2)
    try:
        assert desk.marks({"key": "lens.f_number"}) == {"late": True}
        assert "met" in desk.marks({"key": "lens.f_number"})
        desk.is_ending = lambda: True
        assert desk.marks({"key": "lens.f_number"}) == {"late": True}
    finally:
        desk.close()


def test_a_mark_of_nothing_is_refused(client: "Client") -> None:
    """A key without a slider gets a sentence."""
    assert "the key of a slider" in client.talk("marks", {"key": "light.spectrum"})["faults"][0]


@pytest.mark.parametrize(
    ("changes", "state", "first", "requirement"),
    [
        ({}, "met", "closest to its limit is ", None),
        ({"light.illuminance": "2 klx"}, "missed", "SNR on the product is ", "snr"),
        ({"light.illuminance": "900 klx"}, "missed", "", "clipping"),
        ({"camera.max_line_rate": "9 kHz"}, "cannot run", "needs 13.3 kHz", "line_rate"),
        ({"requirement": None}, "met", "finds discs from ", None),
    ],
)
def test_the_sentence_names_what_limits(
    able: Setup, changes: dict[str, Any], state: str, first: str, requirement: str | None
) -> None:
    """It tells the worst state, and of that the verdict that is missed by most."""
    setup = changed(able, changes)
    found = budget(setup)
    said = headline(setup, found)
    assert said["state"] == state
    assert said["text"].startswith(first)
    if requirement is None:
        assert all(each.met for each in found.verdicts)
    else:
        assert limiting(found.verdicts).requirement == requirement
        missed = [each for each in found.verdicts if each.state == state]
        assert limiting(found.verdicts).margin == min(each.margin for each in missed)


def test_clipping_is_told_in_times(station: Setup) -> None:
    """A level of 3.2 times the limit needs 3.2 times the limit."""
    share = max(v.got for v in budget(station).verdicts if v.requirement == "clipping")
    setup = changed(station, {"light.illuminance": f"{60 * 3.2 / share!r} klx"})
    assert "needs 3.2 times " in headline(setup, budget(setup))["text"]


def test_a_defect_that_is_put_in_darkens_by_its_contrast(client: "Client") -> None:
    """
    In the middle of a disc the expected electrons are 1 - contrast of those without it.

    Of the light of a point, diffraction sends 2 λN/(π² r) further than r (from memory): 0.53 µm,
    f/4.4 and 40 µm at the sensor leave 1.2 %, so that the contrast of 20 % is short by 0.24 %.
    """
    ask: dict[str, Any] = {
        "changes": {"target": "flat", "requirement.smallest_defect": "1 mm"},
        "window": {"left_mm": -7.2, "top_mm": 0.0, "width_mm": 14.4, "height_mm": 10.8},
    }
    plain, put = client.look(**ask), client.look(**ask, put_in=True)
    assert (plain.told["put_in"], len(put.told["put_in"])) == ([], 15)
    assert put.told["picture"]["shown"].endswith("(seed 0), with 15 defects put in")
    place = put.told["raster"]
    ratios = []
    for x_mm, y_mm in put.told["put_in"]:
        column = int((x_mm - place["left_mm"]) / place["across_mm"])
        line = int(y_mm / place["along_mm"])
        ratios.append(put.expected_e[line, column, 0] / plain.expected_e[line, column, 0])
    assert_allclose(np.array(ratios), 0.8, rtol=0, atol=0.004)
