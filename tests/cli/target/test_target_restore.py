"""The command target restore: a scan goes round as a target, and its refusals."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile

Call = Callable[..., tuple[int, str]]
STATION = """\
title = "Round"
{target}
[transport]
speed = "60 m/min"
[lens]
magnification = 0.1
[light]
illuminance = "400 klx"
[camera]
pixels = 64
pixel_width = "7.5 um"
[acquisition]
lines = 64
"""
STEPS = '[target]\nimage = "edge"\npixel_size = "20 um"\n'


@pytest.fixture
def scanned(run: Call, tmp_path: Path) -> Path:
    """Scan an edge."""
    (tmp_path / "one.toml").write_text(STATION.format(target=STEPS), "utf-8")
    assert run("scan", "one.toml", "--out", "one")[0] == 0
    return tmp_path


def test_a_scan_goes_round(run: Call, scanned: Path) -> None:
    """Scan, restore, scan by the same station: the same picture, to noise."""
    code, out = run("target", "restore", "one.toml", "one/scan.tif", "--out", "made")
    lines = (scanned / "made" / "target.toml").read_text("utf-8")
    assert (code, lines in out) == (0, True)
    assert "cannot be judged with it" in out
    assert "guard and lock out by local code" in out
    (scanned / "made" / "two.toml").write_text(STATION.format(target=lines), "utf-8")
    assert run("scan", "made/two.toml", "--out", "two")[0] == 0
    first, again = (
        tifffile.imread(scanned / name / "scan.tif").astype(np.float64) for name in ("one", "two")
    )
    told = json.loads((scanned / "made" / "restored.json").read_text("utf-8"))
    # white of the second is that of the target's file: numbers are the same light
    white = first.max() / 0.8
    allowed = white * np.hypot(told["noise_left"], 2 * told["noise_of_scan"])
    assert np.std((again - first)[4:-4, 4:-4]) < allowed


def test_json_and_page(run: Call, scanned: Path) -> None:
    """--json equals the file; the page sets scan and target side by side twice."""
    code, out = run(
        "target", "restore", "one.toml", "one/scan.tif", "--json", "--report", "--out", "made"
    )
    kept = json.loads((scanned / "made" / "restored.json").read_text("utf-8"))
    assert (code, json.loads(out)) == (0, kept)
    assert (scanned / "made" / "report.html").read_text("utf-8").count('class="divider"') == 2


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("gone.toml", "whole.png"), 'setup "gone.toml" does not exist'),
        (("base.toml", "gone.png"), 'image "gone.png" does not exist'),
        (("base.toml", "whole.png"), "is said to have 12 bit, but holds samples of 8"),
        (("base.toml", "cut.png"), "is cut short (it ends after 46 bytes)"),
    ],
)
def test_refusals_name_what_was_read(
    refused: Callable[..., str], arguments: tuple[str, ...], told: str
) -> None:
    """Each refusal names the file, and leaves nothing behind."""
    assert told in refused("target", "restore", *arguments)


def test_a_scan_that_shows_nothing_leaves_nothing_behind(
    refused: Callable[..., str], scanned: Path
) -> None:
    """All samples alike: a sentence, and no half of a target in the folder."""
    tifffile.imwrite(scanned / "even.tif", np.full((64, 64), 50, dtype=np.uint16))
    said = refused("target", "restore", "one.toml", "even.tif", "--out", "none")
    assert "shows nothing over its noise" in said
    assert not (scanned / "none").exists()
