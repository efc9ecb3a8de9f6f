"""Cautions about the light of a data set: both ends of each range, all corners."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from linesim.dataset.people import plan_people
from linesim.dataset.plan.plan_file import load_plan
from tests.stations import plain_toml

PLAN = """\
setup = "base.toml"
count = 4
[vary]
{vary}
[scenes]
kind = "flat"
images_each = 1
"""


def told(folder: Path, base: str, vary: str) -> Mapping[str, str]:
    """Give code -> who of a plan over a setup."""
    (folder / "base.toml").write_text(base, "utf-8")
    (folder / "plan.toml").write_text(PLAN.format(vary=vary), "utf-8")
    found = plan_people(load_plan(folder / "plan.toml"))
    return {each.code: each.who for each in found}


BASE = plain_toml(
    "Base",
    target={"pixel_size": "18.75 um"},
    transport={"speed": "1 m/s"},
    light={"flicker": 0.1, "flicker_frequency": "100 Hz"},
)


@pytest.mark.parametrize(
    ("vary", "expected"),
    [
        ("camera.prnu = [0.0, 0.01]", {"stroboscopic": ""}),
        # 316.88 lm/W: 1 kW/m² is 317 klx, above the middle of the range
        ('light.illuminance = "20 klx:400 klx"',
         {"bright_light": "400 klx", "heat_on_stop": "400 klx", "stroboscopic": ""}),
        # seen to flash between, though not at the ends
        ('light.flicker_frequency = "1 Hz:1 kHz:log"',
         {"visible_flicker": "3 Hz, 60 Hz", "stroboscopic": ""}),
        ('light.spectrum = ["LED-B3", "A"]',
         {"bright_light": "A", "heat_on_stop": "A", "invisible_light": "A", "stroboscopic": ""}),
        ('light.flicker = [0.0, 0.1]\nlight.illuminance = "10 klx:20 klx"',
         {"stroboscopic": ", ".join(f"flicker 0.1 and illuminance {k} klx" for k in (10, 20))}),
    ],
    ids=["none", "illuminance", "flicker", "spectrum", "two"],
)  # fmt: skip
def test_the_ends_of_what_is_varied_count(
    tmp_path: Path, vary: str, expected: dict[str, str]
) -> None:
    """Not the setup that the plan starts from alone; who says at which end."""
    assert told(tmp_path, BASE, vary) == expected
