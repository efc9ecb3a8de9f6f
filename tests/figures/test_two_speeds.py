"""A range of speeds: every verdict holds at both ends, and tells which of them decides."""

from typing import Any

import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.report.verdict_words import summary
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup
from linesim.studies.rank.space import space_from
from linesim.studies.scan.study import scan
from linesim.studies.vary.study import vary

# "foil" sends back 64.3 % of white at its brightest; line periods are 375 us and 37.5 us
BOTH = changed(
    sample_setup(),
    {
        "transport.speed": "0.2 m/s:2 m/s",
        "light.illuminance": "60 klx",
        "lens.magnification": 0.1,
        "camera.pixel_width": "7.5 um",
        "camera.pixels": 256,
        "acquisition.lines": 32,
        "requirement.snr": 20,
    },
)
SLOW, FAST = (changed(BOTH, {"transport.speed": speed}) for speed in ("0.2 m/s", "2 m/s"))


def test_figures_and_picture_are_of_the_fastest() -> None:
    """The range adds verdicts alone."""
    both, fast = scan(BOTH, 1), scan(FAST, 1)
    assert (both.image == fast.image).all()
    assert both.budget.groups == fast.budget.groups


def test_each_verdict_is_the_weaker_of_both() -> None:
    """Ten times the time is ten times the electrons: the slow end clips, the fast end is noisy."""
    found = {each.requirement: each for each in budget(BOTH).verdicts}
    ends = {
        name: {each.requirement: each for each in budget(setup).verdicts}
        for name, setup in (("slowest", SLOW), ("fastest", FAST))
    }
    assert found.keys() == ends["slowest"].keys()
    for name, each in found.items():
        assert each.margin == min(end[name].margin for end in ends.values())
        assert each.margin == ends[each.speed][name].margin
    assert (found["clipping"].speed, found["snr"].speed) == ("slowest", "fastest")
    assert found["clipping"].as_dict()["speed"] == "slowest"
    assert "speed" not in ends["fastest"]["snr"].as_dict()


def test_the_light_that_helps_is_that_of_the_speed_that_clips() -> None:
    """The summary names the speed, and a light at which the slow end no longer clips."""
    bright = changed(BOTH, {"light.illuminance": "120 klx"})
    told = summary(bright, budget(bright).verdicts)
    assert "(at 0.2 m/s), and stops clipping at " in told
    light = told.split("stops clipping at ")[1].rstrip(".")
    assert all(each.met for each in budget(changed(bright, {"light.illuminance": light})).verdicts)


def test_a_caution_of_the_slow_end_alone_says_so() -> None:
    """White clips at 0.2 m/s and not at 2 m/s."""
    told = {each.code: each.text for each in budget(BOTH).cautions}
    assert told["well_clips"].startswith("At 0.2 m/s: ")
    assert "well_clips" not in {each.code for each in budget(FAST).cautions}


def test_either_spelling_in_either_order_is_one_setup() -> None:
    """Two keys, or one text; a speed set later stands for both."""
    keys = {"transport.speed": "2 m/s", "transport.slowest_speed": "200 mm/s"}
    assert changed(BOTH, keys) == BOTH
    assert changed(BOTH, {"transport.speed": "120 m/min:0.2 m/s"}) == BOTH
    assert FAST.transport.slowest_speed_mm_s is None
    assert_allclose(BOTH.transport.speed_mm_s, 2000)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"transport.speed": "0.2:2 m/s"},
         ('transport.speed: read "0.2", but the unit is missing; expected a speed, '
          'for example "60 m/min"')),
        ({"transport.slowest_speed": "3 m/s"},
         ('transport.slowest_speed: read "3 m/s", but transport.speed is "2 m/s"; expected a '
          "speed no faster than that")),
        ({"transport.speed": "1 m/s:2 m/s", "transport.slowest_speed": "1 m/s"},
         ('transport.speed, transport.slowest_speed: read "1 m/s:2 m/s" and "1 m/s", but '
          "both name the slowest speed; leave one out")),
    ],
)  # fmt: skip
def test_a_faulty_range_is_refused(changes: dict[str, Any], sentence: str) -> None:
    """One sentence, by the key that was typed."""
    with pytest.raises(InputError) as refusal:
        changed(BOTH, changes)
    assert refusal.value.faults == (sentence,)


def test_studies_of_one_speed_ask_for_one() -> None:
    """Rather than judge one end and keep quiet of the other; varied speeds stand for both."""
    light = "light.illuminance"
    with pytest.raises(InputError, match=r"^transport.slowest_speed: read .* vary judges one"):
        vary(BOTH, {light: "10 klx,20 klx"})
    with pytest.raises(InputError, match=r"^transport.slowest_speed: read .* vary judges one"):
        vary(FAST, {"transport.slowest_speed": "0.1 m/s,0.2 m/s"})
    with pytest.raises(InputError, match=r"^transport.slowest_speed: read .* rank judges one"):
        space_from({"options": {"transport.slowest_speed": ["0.1 m/s", "0.2 m/s"]}})
    found = vary(BOTH, {"transport.speed": "0.2 m/s,2 m/s"}, figures=["snr_product"])
    alone = [each.number("signal", "snr_product") for each in map(budget, (SLOW, FAST))]
    assert_allclose(found.curves[0].figures["snr_product"].ravel(), alone, rtol=1e-9)
