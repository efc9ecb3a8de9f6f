"""Reports of comparisons, studies and rankings keep the rules of a page, and say their answer."""

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from linesim.figures.safety import MACHINERY
from linesim.report.console import typeset
from linesim.report.page import write_pages
from linesim.setup.load import setup_from
from linesim.studies.compare.page import write_compare_report
from linesim.studies.compare.study import compare
from linesim.studies.compare.words import answer as compare_answer
from linesim.studies.rank.page import rank_page
from linesim.studies.rank.space import load_space
from linesim.studies.rank.study import rank
from linesim.studies.rank.words import answer as rank_answer
from linesim.studies.vary.page import vary_page
from linesim.studies.vary.study import vary
from linesim.studies.vary.words import answer as vary_answer
from tests.stations import plain_toml

STATION: dict[str, Any] = {
    "title": "A station <of> its own",
    "target": {"image": "foil", "pixel_size": "40 um", "width": "9.6 mm", "height": "6 mm"},
    "transport": {"speed": "60 m/min"},
    "lens": {"magnification": 0.1},
    "light": {"illuminance": "40 klx"},
    "camera": {"pixels": 128, "pixel_width": "7.5 um"},
    "requirement": {"smallest_defect": "300 um", "snr": 40},
}
SPACE = """\
title = "A space <of> its own"
setup = "base.toml"
[options]
"lens.f_number" = [2.8, 4.0]
"light.illuminance" = "10klx:1000klx:log5"
[requirement]
snr = {snr}
"""
BASE = plain_toml("Base", camera={"pixels": 128})
RANGE = {"light.illuminance": "5klx:500klx:log30"}
GRID = {"light.illuminance": "5klx:500klx:log4", "lens.f_number": "2.8,4,5.6"}


@dataclass(frozen=True)
class Made:
    """What a page must say, and the file that was written."""

    answer: tuple[str, ...]
    file: Path


def ranked(folder: Path, snr: int) -> Made:
    """Rank a small space."""
    (folder / "base.toml").write_text(BASE)
    (folder / "space.toml").write_text(SPACE.format(snr=snr))
    found = rank(load_space(folder / "space.toml"))
    return Made(rank_answer(found), write_pages(folder, rank_page(found))[0])


def studied(folder: Path, ranges: dict[str, str]) -> Made:
    """Study a range or two."""
    found = vary(setup_from(STATION), ranges, figures=("snr_white", "saturation_white"))
    return Made(vary_answer(found), write_pages(folder, vary_page(found, ()))[0])


def compared(folder: Path) -> Made:
    """Compare two ways of binning in light that saturates one of them."""
    found = compare(setup_from(STATION), ("1x1", "2x2"))
    return Made(compare_answer(found), write_compare_report(found, folder)[0])


MAKERS: dict[str, Callable[[Path], Made]] = {
    "compare": compared,
    "vary": lambda folder: studied(folder, RANGE),
    "vary two": lambda folder: studied(folder, GRID),
    "rank": lambda folder: ranked(folder, 60),
    "rank none": lambda folder: ranked(folder, 60_000),
}


Pages = Callable[[str], Made]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    """Give a function that makes each page once."""
    return cache(lambda name: MAKERS[name](tmp_path_factory.mktemp("page")))


@pytest.mark.parametrize("name", MAKERS)
def test_nothing_outside_is_asked_for(name: str, made: Pages) -> None:
    """Every source is in the file, every link goes to a place in it, and no id comes twice."""
    text = made(name).file.read_text("utf-8")
    links = re.findall(r'(?:src|href)="([^"]*)"', text)
    assert len(links) > 5
    assert [link for link in links if not link.startswith(("data:", "#"))] == []
    ids = Counter(re.findall(r'\sid="([^"]*)"', text))
    assert [each for each, count in ids.items() if count > 1] == []
    assert all(re.findall(r'<img [^>]*alt="([^"]*)"', text))


@pytest.mark.parametrize("name", MAKERS)
def test_the_answer_and_the_cautions_are_in_the_page(name: str, made: Pages) -> None:
    """Each sentence of the console's answer is there, and the line about machinery."""
    text = made(name).file.read_text("utf-8")
    plain = text.replace("&#34;", '"').replace("&#39;", "'").replace("&lt;", "<")
    assert len(made(name).answer) > 0
    assert [said for said in made(name).answer if typeset(said) not in plain] == []
    assert MACHINERY in text


@pytest.mark.parametrize("name", MAKERS)
def test_a_title_is_text(name: str, made: Pages) -> None:
    """What looks like a tag in a title is shown."""
    text = made(name).file.read_text("utf-8")
    assert "&lt;of&gt; its own</h1>" in text
    assert "<of>" not in text


@pytest.mark.parametrize("name", MAKERS)
def test_the_same_study_gives_the_same_page(name: str, made: Pages, tmp_path: Path) -> None:
    """Byte for byte, wherever it is written, and without a trace of where."""
    again = MAKERS[name](tmp_path)
    assert again.file.read_bytes() == made(name).file.read_bytes()
    assert str(tmp_path) not in again.file.read_text("utf-8")


def test_a_comparison_shows_what_differs(made: Pages) -> None:
    """The key that makes the variants, the electrons of each, the most marked, and the verdicts."""
    text = made("compare").file.read_text("utf-8")
    assert re.search(r">acquisition.binning</th><td>1x1</td><td>2x2</td>", text)
    assert re.search(r">white, e</th><td>8440</td><td>67500 ★</td>", text)
    # two variants: the state of each, clipping, smallest defect and SNR; the exposure, which is
    # the same for both, once and folded away
    assert text.count("✓ met") + text.count("✗ missed") == 9
    folded = text.partition('<details class="rows">')[2].partition("</details>")[0]
    assert re.search(r">exposure</th><td>✓ met, just enough</td>", folded)


def test_a_long_range_is_told_to_be_shortened(made: Pages) -> None:
    """Of 30 points 25 are in the table, and it says so."""
    text = made("vary").file.read_text("utf-8")
    assert "25 of 30 points" in text


def test_a_ranking_without_a_winner_shows_the_nearest(made: Pages) -> None:
    """Where nothing passes, the page tells of the option that misses by least."""
    none, some = (made(name).file.read_text("utf-8") for name in ("rank none", "rank"))
    assert re.search(r"<h2[^>]*>The nearest option</h2>", none)
    assert re.search(r"<h2[^>]*>The best option</h2>", some)
