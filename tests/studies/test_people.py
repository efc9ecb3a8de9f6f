"""Cautions about people over many light levels: every value and every row that is shown."""

from pathlib import Path

import pytest

from linesim.figures.safety import MACHINERY
from linesim.setup.load import changed, setup_from
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.rank.outputs import rank_json
from linesim.studies.rank.space import space_from
from linesim.studies.rank.study import rank
from linesim.studies.rank.table import rank_text
from linesim.studies.rank.words import rank_people
from linesim.studies.vary.outputs import vary_json
from linesim.studies.vary.study import vary
from linesim.studies.vary.table import vary_people

LIT = {"illuminance": "40 klx", "flicker": 0.1, "flicker_frequency": "100 Hz"}
STATION = {
    "title": "People",
    "target": {"image": "flat", "pixel_size": "18.75 um", "width": "30 mm", "height": "20 mm"},
    "transport": {"speed": "1 m/s"},
    "lens": {"magnification": 0.1},
    "light": LIT,
    "camera": {"pixels": 256, "pixel_width": "7.5 um", "full_well": "10 Me"},
    "acquisition": {"lines": 100},
}


@pytest.fixture(scope="module")
def base() -> Setup:
    """Give a station whose light swings."""
    return setup_from(STATION)


def test_every_value_of_a_range_counts(base: Setup) -> None:
    """Swings that flash lie in the middle of the range; both ends are steady to the eye."""
    found = vary(base, {"light.flicker_frequency": "1Hz,10Hz,20Hz,50Hz,60Hz,100Hz"})
    lines = {each.code: each.who for each in vary_people(found)}
    assert lines == {"visible_flicker": "10 Hz to 60 Hz, 4 of 6", "stroboscopic": ""}


def test_the_dim_end_is_told_too(base: Setup) -> None:
    """A caution that all points share names none, one of the bright end alone names that."""
    found = vary(base, {"light.illuminance": "10klx:400klx:lin2", "lens.f_number": "4,5.6"})
    told = vary_json(found, ())["cautions"]
    assert isinstance(told, list)
    assert [text.split(":")[0] for text in told] == [
        "bright_light (400 klx)",
        "heat_on_stop (400 klx)",
        "stroboscopic",
        MACHINERY.split(":", maxsplit=1)[0],
    ]


def test_a_range_without_light_has_the_cautions_of_its_setup(base: Setup) -> None:
    """One point stands for all."""
    bright = changed(base, {"light.illuminance": "400 klx"})
    (first, *_) = vary_people(vary(bright, {"lens.f_number": "2.8:8:log100"}))
    assert (first.code, first.who, first.stations) == ("bright_light", "", 1)


def test_every_row_that_is_shown_counts(base: Setup, tmp_path: Path) -> None:
    """The best is dim; the brightest of what is listed is not, and is told by its place."""
    (tmp_path / "base.toml").write_text(resolved_text(base, tmp_path), "utf-8")
    lights = ["10 klx", "20 klx", "100 klx", "400 klx"]
    texts = {"setup": "base.toml", "options": {"light.illuminance": lights}}
    found = rank(space_from(texts, tmp_path), top=1)
    assert [each.line.split(":")[0] for each in rank_people(found)] == [
        "bright_light (rank 4, the brightest)",
        "heat_on_stop (rank 4, the brightest)",
        "stroboscopic",
    ]
    front = rank_people(rank(space_from(texts, tmp_path), top=2))
    assert front[0].who == "rank 4"  # the bright end of the front is a row by itself
    text = " ".join(rank_text(found).split())
    assert "bright_light (rank 4, the brightest): 1262 W/m²" in text
    assert MACHINERY in text
    told = rank_json(found)["cautions"]
    assert isinstance(told, list)
    assert told == [*(each.line for each in rank_people(found)), MACHINERY]
