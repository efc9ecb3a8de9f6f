"""A small station, a small plan on it, and one set made from it."""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from linesim.dataset.item import Item, item
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan
from linesim.workers.tasks import Alone
from tests.stations import plain_toml

STATION = plain_toml(
    "Small",
    target={"image": "foil", "pixel_size": "25 um"},
    camera={"pixels": 96},
    acquisition={"lines": 96},
)
PLAN = """\
title = "Small set"
setup = "station.toml"
count = 12
seed = 5
[images]
good_share = 0.25
[scenes]
images_each = 2
[splits]
train = 0.5
val = 0.25
test = 0.25
[vary]
light.illuminance = "32 klx:48 klx"
transport.speed_ripple = "0:0.03"
acquisition.binning = ["1x1", "2x2"]
[faults]
kinds = ["pinhole", "spot", "scratch", "hole"]
count = "0:2"
min_distance = "0.2 mm"
[labels]
box_files = true
"""


@pytest.fixture(scope="session")
def plan_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write plan and station."""
    folder = tmp_path_factory.mktemp("plan")
    (folder / "station.toml").write_text(STATION, "utf-8")
    (folder / "small_set.toml").write_text(PLAN, "utf-8")
    return folder / "small_set.toml"


@pytest.fixture(scope="session")
def plan(plan_file: Path) -> Plan:
    """Load the plan."""
    return load_plan(plan_file)


@pytest.fixture(scope="session")
def one_of(plan: Plan) -> Callable[[int], Item]:
    """Give a function that renders an image of the plan, once; nobody may change it."""

    @cache
    def rendered(index: int) -> Item:
        found = item(plan, index)
        for each in (found.image, found.mask):
            each.setflags(write=False)
        return found

    return rendered


@pytest.fixture(scope="session")
def made(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the set, in this process; nobody may change it."""
    folder = tmp_path_factory.mktemp("made") / "set"
    make_set(plan, folder, Alone())
    return folder
