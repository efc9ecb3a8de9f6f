"""Which images of a set come from stations that cannot run, or clip."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from linesim.dataset.able import cannot_run, states, states_in_words
from linesim.dataset.item import Item
from linesim.figures.budget import budget
from linesim.forward.reference import ArrayReference
from linesim.setup.load import changed, sample_setup

OneOf = Callable[[int], Item]


def test_records_say_which_stations_run(made: Path, one_of: OneOf) -> None:
    """What is judged of each station, in its record, as the budget of that station has it."""
    found = one_of(0)
    told = json.loads(next((made / "records").rglob("*.json")).read_text("utf-8"))
    assert {"exposure", "clipping"} <= set(told["states"])
    assert set(told["states"].values()) <= {"met", "missed", "cannot run"}
    shared = {v.requirement: v.state for v in budget(found.drawn.setup).verdicts}
    able = set(found.states) - {"clipping"}  # which depends on the piece of product
    assert {each: found.states[each] for each in able} == {each: shared[each] for each in able}


def test_images_that_no_station_could_take_are_counted() -> None:
    """A camera too slow and one that clips: in the record, the sums, and the card in words."""
    slow, bright = (
        states(changed(sample_setup(), change), made_of(0.8))
        for change in ({"camera.max_line_rate": "5 kHz"}, {"light.illuminance": "600 klx"})
    )
    assert (cannot_run(slow), slow["clipping"]) == (True, "met")
    assert (cannot_run(bright), bright["clipping"]) == (False, "missed")
    assert list(states_in_words(9, 2, 1)) == [
        (
            "2 of 9 images come from stations that cannot run as they stand (line rate, link or "
            "exposure)"
        ),
        "1 of 9 images come from stations whose picture clips",
    ]
    assert list(states_in_words(9, 0, 0)) == []


def made_of(level: float) -> ArrayReference:
    """Give a piece of product of one level."""
    return ArrayReference(data=np.full((80, 80), level, dtype=np.float32), pixel_size_um=20.0)


@pytest.mark.parametrize(("share", "state"), [(0.0005, "met"), (0.002, "missed")])
def test_what_clips_is_judged_by_one_in_a_thousand(share: float, state: str) -> None:
    """A station that a perfect white would saturate: half of a thousandth of it does not count."""
    values = np.full((500, 400), 0.05, dtype=np.float32)
    values.ravel()[: round(share * values.size)] = 1.0
    bright = changed(sample_setup(), {"light.illuminance": "600 klx"})
    target = ArrayReference(data=values, pixel_size_um=20.0)
    assert states(bright, target)["clipping"] == state
