"""Keys of the sensor's own faults: what is refused, in a sentence with what was read."""

from typing import Any

import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from tests.stations import plain_setup

BASE = plain_setup(
    "Faults of the sensor",
    target={"pixel_size": "25 um"},
    camera={"pixels": 64, "pixel_width": "6 um"},
)
REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "line noise without a unit": ({"camera.line_noise": 3},
     "camera.line_noise: read 3, but a bare number has no unit; expected a number of electrons"),
    "crosstalk of a quarter": ({"camera.crosstalk": 0.25},
     "camera.crosstalk: read 0.25, but this is outside 0 to 0.2; expected a fraction"),
    "taps that are no table": ({"camera.taps": 4},
     "camera.taps: read 4, but this is no table; expected a number of taps and what sets them"),
    "one tap": ({"camera.taps": {"count": 1}},
     "camera.taps.count: read 1, but this is outside 2 to 1024; expected a number of taps"),
    "taps without their number": ({"camera.taps": {"gain_step": 0.01}},
     "camera.taps.count: nothing was read, but this key is needed, for example 4"),
    "an unknown key of taps": ({"camera.taps": {"count": 4, "gain": 0.01}},
     "camera.taps.gain: read 0.01, but there is no such key; known here are count, gain_step"),
    "more taps than samples": ({"camera.taps": {"count": 40}, "acquisition.binning": "2x2"},
     ("camera.taps: read { count = 40 }, but a line has only 32 samples; expected at most one"
      " tap for each")),
    "transfers without stages": ({"camera.charge_transfer_inefficiency": 1e-5},
     ("camera.charge_transfer_inefficiency: read 1e-05, but only stages of time-delay "
      "integration move charge from line to line; expected more than 1 of camera.tdi_stages")),
    "lag of stages": ({"camera.lag": 0.02, "camera.tdi_stages": 8},
     ("camera.lag: read 0.02, but what stages of time-delay integration leave behind is "
      "camera.charge_transfer_inefficiency; leave camera.lag out")),
    "lag under lights in turn": ({"camera.lag": 0.02, "light.turn": "1 of 2"},
     "camera.lag: read 0.02, but with lights that shine in turn it carries one picture into"),
    "all charge stays": ({"camera.lag": 1.0},
     "camera.lag: read 1.0, but this is outside 0 to 0.5; expected a fraction from 0 to 0.5"),
    "far from straight": ({"camera.linearity_error": 0.2},
     "camera.linearity_error: read 0.2, but this is outside 0 to 0.05; expected a fraction"),
    "waves without a period": ({"camera.column_waves": {"gain": 0.01}},
     "camera.column_waves.period: nothing was read, but this key is needed, for example"),
    "waves in micrometres": ({"camera.column_waves": {"gain": 0.01, "period": "64 um"}},
     'camera.column_waves.period: read "64 um", but um is a unit of another kind; expected'),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_is_refused_in_a_sentence(name: str) -> None:
    """The sentence names the key, what was read and what is expected."""
    changes, says = REFUSED[name]
    with pytest.raises(InputError) as refusal:
        changed(BASE, changes)
    assert str(refusal.value).startswith(says)


def test_without_the_keys_nothing_of_them_is_told() -> None:
    """Neither the figures nor the resolved setup name a fault that was not asked for."""
    words = ("line_noise", "taps", "waves", "linearity", "crosstalk", "lag", "inefficiency")
    told = str(budget(BASE).as_dict()) + str(BASE.texts["camera"])
    assert [word for word in words if word in told.replace("flag", "")] == []
