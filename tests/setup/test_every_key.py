"""
No key is forgotten: each moves the figures, the picture, or both, and so on a device too.

A new key of the model belongs into the table below with a change that can be seen; without a row,
or with one that does not hold, a test here fails.
"""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward.device.scans import render_by
from linesim.preview.frame import optical_key
from linesim.setup.errors import InputError
from linesim.setup.load import changed, known_keys, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.study import Scan, scan
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference
from tests.stations import plain_texts

Changes = dict[str, Any]
HERE = Path(__file__).parent
MORE = ("light_2", "light_3", "light_4")
"""Further lights: the keys of the first that make a lamp, held in tests/targets/test_lamps.py."""
TABLES = [name for name in known_keys(()) if name not in ("title", *MORE)]
KEYS = ["title", *(f"{table}.{key}" for table in TABLES for key in known_keys((table,)))]

BASE: Changes = plain_texts(
    "Keys",
    target={
        "image": "edge",
        "pixel_size": "25 um",
        "width": "4 mm",
        "height": "4.5 mm",
        "angle": "5 deg",
        "contrast": 4.0,
    },
    light={"irradiance": "40 W/m^2", "illuminance": None},
    camera={"pixels": 48, "black_level": "20 DN"},
    acquisition={"lines": 48},
    requirement={"smallest_defect": "300 um"},
)
STATIONS: dict[str, Changes] = {
    name: {key: None if value == "" else value for key, value in changes.items()}
    for name, changes in tomllib.loads((HERE / "key_stations.toml").read_text("utf-8")).items()
}
"""Stations in which a key can be seen to act."""
STATIONS["RELIEF"]["target.relief"] = str((HERE / STATIONS["RELIEF"]["target.relief"]).resolve())

BOTH = "picture and figures"
DRAWN = "picture: where and what the target is; figures are of white and of the product"
UNEVEN = "picture: the lines are unevenly placed or lit, and figures are those of an even pace"
LATER = "picture: all lines look further on, and figures are the same"
LIMIT = "figures: a limit that is told, which changes no number"
WANTED = "figures: what is asked of the picture"
GUARD = "nothing: it only says what is let in"


class Row(NamedTuple):
    """A change that can be seen, what it reaches, and what else must be changed for that."""

    value: object
    reach: str = BOTH
    where: Changes = {}  # noqa: RUF012 -- never written to


REACHES = {
    "BOTH": BOTH,
    "DRAWN": DRAWN,
    "UNEVEN": UNEVEN,
    "LATER": LATER,
    "LIMIT": LIMIT,
    "WANTED": WANTED,
    "GUARD": GUARD,
}


def row(told: Changes) -> Row:
    """Read a row of the table of keys."""
    changes = [STATIONS[name] for name in told.get("on", [])]
    own = {key: None if value == "" else value for key, value in told.get("where", {}).items()}
    where = {key: value for each in (*changes, own) for key, value in each.items()}
    value, reach = told["value"], str(told.get("reach", "BOTH"))
    relief = STATIONS["RELIEF"]["target.relief"]
    return Row(relief if value == "RELIEF" else value, REACHES.get(reach, reach), where)


ROWS = {
    key: row(told)
    for key, told in tomllib.loads((HERE / "key_rows.toml").read_text("utf-8")).items()
}

TOGETHER = {
    "target.image": "the shape of an edge does not go with another target",
    "transport.trigger": "what an encoder needs does not go with a clock",
    "light.arrangement": "what a strip needs does not go with light from everywhere",
    "target.relief": "a relief goes with its range",
    "lens.field_of_view": "it takes the place of the magnification",
    "lens.working_distance": "it takes the place of the magnification",
    "light.illuminance": "it takes the place of the irradiance",
    "acquisition.length": "it takes the place of the lines",
}
"""Keys that go in with what they need; all others are changed alone."""
CARRIED_BY_NUMPY = (
    "transport.skew",
    "transport.lateral_wander",
    "transport.flutter",
    "light.height_band",
    "lens.blur_along",
    "lens.distortion",
)
"""What the torch path refuses; their frequencies go with them."""
SHIFTS = {"light.height_band": "transport.flutter"}
"""What is refused for what it needs."""


@cache
def pair(key: str) -> tuple[Setup, Setup]:
    """Give a station before and after a change of one key."""
    value, _, where = ROWS[key]
    before = setup_from(BASE) if key in TOGETHER else changed(setup_from(BASE), where)
    return before, changed(before, {**where, key: value} if key in TOGETHER else {key: value})


@cache
def scanned(setup: Setup) -> Scan:
    """Scan a station once for all tests."""
    return scan(setup, 3, workers=1)


def differ(one: np.ndarray, other: np.ndarray) -> bool:
    """Tell whether two pictures differ where both have lines."""
    lines = min(len(one), len(other))
    return not np.array_equal(one[:lines], other[:lines])


def test_every_key_has_a_row() -> None:
    """The table is the model's: nothing missing, nothing left over."""
    assert sorted(ROWS) == sorted(KEYS)
    assert all(set(known_keys((name,))) < set(known_keys(("light",))) for name in MORE)


@pytest.mark.parametrize("key", KEYS)
def test_a_key_reaches_picture_and_figures_or_says_why_not(key: str) -> None:
    """A change of the key changes what its row says, and nothing that it does not say."""
    one, other = map(scanned, pair(key))
    reach = ROWS[key].reach
    same_size = one.image.shape == other.image.shape
    seen = not same_size or differ(one.image, other.image)
    told = (one.budget.groups, one.budget.verdicts) != (other.budget.groups, other.budget.verdicts)
    assert (seen, told) == (
        reach == BOTH or reach.startswith("picture:"),
        reach == BOTH or reach.startswith("figures:"),
    )


@pytest.mark.parametrize("key", KEYS)
def test_a_key_reaches_the_page_at_once_or_by_new_electrons(key: str) -> None:
    """Where the page would keep its expected electrons, they are the same bit by bit."""
    one, other = pair(key)
    if optical_key(one, 3) == optical_key(other, 3):
        expected = [scanned(each).expected_e for each in (one, other)]
        lines = min(map(len, expected))
        assert_array_equal(expected[0][:lines], expected[1][:lines])


@pytest.mark.parametrize("key", KEYS)
def test_a_key_reaches_a_device_or_is_refused_there(key: str) -> None:
    """
    On torch the changed station has numpy's electrons, and but for a few numpy's numbers.

    Electrons to 2e-6 of the brightest, the rounding of float32; of the numbers, from the same
    draws, three in a thousand may fall to the other side of a step. What is refused is named.
    """
    pytest.importorskip("torch")
    setup = pair(key)[1]
    found = scanned(setup)
    reference, lines = lit_reference(setup, target_reference(setup)), len(found.image)
    if key.startswith(CARRIED_BY_NUMPY):
        with pytest.raises(InputError, match=SHIFTS.get(key, key.removesuffix("_frequency"))):
            render_by("cpu")(setup, reference, lines, 3)
        return
    on_it = render_by("cpu")(setup, reference, lines, 3, workers=1)
    brightest_e = float(found.expected_e.max())
    assert_allclose(on_it.expected_e, found.expected_e, rtol=0, atol=2e-6 * brightest_e)
    assert np.mean(on_it.image != found.image) <= 3e-3
