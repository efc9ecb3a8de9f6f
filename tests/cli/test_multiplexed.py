"""Commands on lights that shine in turn: a folder, a text and an entry for each picture."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
import tifffile
from numpy.testing import assert_array_equal

import linesim
from linesim.setup.setup import Setup

TWO = """\
title = "Two"
[target]
image = "flat"
pixel_size = "20 um"
[transport]
speed = "60 m/min"
[lens]
magnification = 0.1
[[light]]
illuminance = "40 klx"
multiplexed = true
[[light]]
illuminance = "20 klx"
[camera]
pixels = 48
pixel_width = "7.5 um"
[acquisition]
lines = 80
[requirement]
snr = 50
"""
NAMES = ["light-1", "light-2"]
Call = Callable[..., tuple[int, str]]


@pytest.fixture
def views(run: Call, tmp_path: Path) -> list[Setup]:  # noqa: ARG001 -- brings the working folder
    """Write a station of two lights, the second too weak for what is asked; give its views."""
    (tmp_path / "two.toml").write_text(TWO, "utf-8")
    return [view for _, view in linesim.light_views(linesim.load_setup("two.toml"))]


def test_a_scan_writes_each_picture_into_its_own_folder(run: Call, views: list[Setup]) -> None:
    """Each folder has what a scan of that view has; the seeds are 2 x 3 and the next one."""
    code, told = run("scan", "two.toml", "--out", "out", "--seed", "3")
    assert code == 0
    assert sorted(each.name for each in Path("out").iterdir()) == NAMES
    for seed, name, view in zip((6, 7), NAMES, views, strict=True):
        folder, wanted = Path("out") / name, linesim.scan(view, seed)
        assert_array_equal(tifffile.imread(folder / "scan.tif"), wanted.image)
        figures = json.loads((folder / "metrics.json").read_text("utf-8"))
        assert figures == json.loads(json.dumps(wanted.metrics()))
        assert linesim.load_setup(folder / "setup.toml") == view
        assert view.title in told
        assert f"setup.toml in out/{name}/" in told


def test_json_has_one_entry_a_light(run: Call, views: list[Setup]) -> None:
    """Scan and budget print one object, whose list has the figures of each picture."""
    wanted = [linesim.budget(view).number("signal", "snr_white") for view in views]
    for command in ("scan", "budget"):
        lights = json.loads(run(command, "two.toml", "--json")[1])["lights"]
        assert [each["light"] for each in lights] == NAMES
        assert [each["signal"]["snr_white"] for each in lights] == wanted
    assert wanted[0] > wanted[1]


def test_the_budget_of_each_picture_is_printed(run: Call, views: list[Setup]) -> None:
    """Both tables stand under the title of their picture."""
    code, told = run("budget", "two.toml")
    assert code == 0
    assert told.index(views[0].title) < told.index(views[1].title)


def test_strict_asks_all_pictures(run: Call, views: list[Setup]) -> None:
    """One picture that misses what is asked is enough to fail."""
    met = [all(each.met for each in linesim.budget(view).verdicts) for view in views]
    assert met == [True, False]
    assert run("budget", "two.toml", "--strict")[0] == 1
    assert run("scan", "two.toml", "--strict")[0] == 1


@pytest.mark.usefixtures("undrawn")
def test_a_report_and_a_streamed_scan_are_made_of_each_picture(
    run: Call, views: list[Setup]
) -> None:
    """Each folder has a page of its own title; the samples are those of a streamed scan."""
    run("scan", "two.toml", "--report")
    streamed, held = Path("streamed"), Path("outputs") / "two"
    for name, view in zip(NAMES, views, strict=True):
        assert view.title in (held / name / "report.html").read_text("utf-8")
    run("scan", "two.toml", "--stream", "--out", str(streamed))
    for name in NAMES:
        one, other = (tifffile.imread(each / name / "scan.tif") for each in (held, streamed))
        assert_array_equal(one, other)


@pytest.mark.parametrize("words", [("compare",), ("vary", "lens.f_number=2.8,4"), ("preview",)])
def test_other_commands_say_how(
    refused: Callable[..., str], here: Path, words: tuple[str, ...]
) -> None:
    """What works out one picture refuses several in a sentence, and leaves nothing behind."""
    (here / "two.toml").write_text(TWO, "utf-8")
    told = refused(words[0], "two.toml", *words[1:])
    assert "expected one of linesim.light_views(setup)" in told
