"""The commands measure noise, uniformity and scene: text, JSON, plots, refusals."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest
import tifffile

from linesim.cli import main

Call = Callable[..., tuple[int, str]]
BLACK = ("--black", "32", "--bit-depth", "12")


@pytest.fixture
def images(tiny: str, tmp_path: Path) -> None:
    """Put two grey images, a dark one and a colour one into the working folder."""
    assert tiny
    rng = np.random.default_rng(1)
    for name, mean, shape in (
        ("a.tif", 2000, (140, 150)),
        ("b.tif", 2000, (140, 150)),
        ("dark.tif", 32, (140, 150)),
        ("c.tif", 1500, (140, 150, 3)),
    ):
        samples = np.rint(rng.normal(mean, 6, shape)).astype(np.uint16)
        colour = "rgb" if len(shape) == 3 else "minisblack"
        tifffile.imwrite(tmp_path / name, samples, photometric=colour)


def table(text: str) -> dict[str, str]:
    """Read labels and texts of a printed table."""
    rows = [line for line in text.splitlines() if line.startswith("  ") and line[2:3].strip()]
    return {line[2:28].strip(): line[28:] for line in rows}


def wide(text: str) -> int:
    """Give the length of the longest line."""
    return max(len(line) for line in text.splitlines())


def asked(run: Call, *arguments: str) -> dict[str, Any]:
    """Run a command with --json and read its object."""
    code, out = run("measure", *arguments, "--json")
    assert code == 0
    found: dict[str, Any] = json.loads(out)
    return found


@pytest.mark.usefixtures("images")
def test_noise_prints_what_json_has(run: Call) -> None:
    """Both tell the same mean and SNR; the text says how black and depth are known."""
    code, out = run("measure", "noise", "a.tif", "b.tif", *BLACK)
    rows, found = table(out), asked(run, "noise", "a.tif", "b.tif", *BLACK)
    assert (code, wide(out) <= 100) == (0, True)
    assert out.startswith("noise of a.tif, b.tif\n  150 columns x 140 lines from 0, 0; 12 bit (as")
    assert rows["mean"].startswith(f"{found['mean_dn']:.2f}"[:6])
    assert rows["SNR"].startswith(f"{found['snr']:.0f}")
    assert "differences of the images" in rows["noise in time"]
    assert found["temporal_noise_dn"] == pytest.approx(6, abs=0.2)
    assert set(found["standard_errors"]) <= set(found)
    assert (found["images"], found["black_from"]) == (["a.tif", "b.tif"], "as stated")


@pytest.mark.usefixtures("images")
def test_noise_with_dark_images_and_a_region(run: Call) -> None:
    """Black comes from the dark image, and the region is told."""
    found = asked(run, "noise", "a.tif", "--dark", "dark.tif", "--region", "10,20,100,110")
    assert found["region"] == {"x_px": 10, "y_px": 20, "width_px": 100, "height_px": 110}
    assert found["black_from"] == "dark images"
    assert found["black_dn"] == pytest.approx(32, abs=0.3)
    _, out = run("measure", "noise", "a.tif", "--dark", "dark.tif")
    assert {"dark noise", "column pattern"} <= set(table(out))


@pytest.mark.usefixtures("images")
@pytest.mark.parametrize(("command", "name"), [("uniformity", "a.tif"), ("scene", "c.tif")])
def test_plots_are_drawn_the_same_each_time(
    run: Call, tmp_path: Path, command: str, name: str
) -> None:
    """A PNG of 170 mm at 150 dots an inch, byte for byte the same; the text says it is there."""
    for plot in ("one.png", "two.png"):
        code, out = run("measure", command, name, *BLACK, "--plot", plot)
        assert code == 0
        assert out.endswith(f"\nwrote {plot}\n")
        assert wide(out) <= 100
    assert (tmp_path / "one.png").read_bytes() == (tmp_path / "two.png").read_bytes()
    shape = iio.imread(tmp_path / "one.png").shape
    assert shape[1] == pytest.approx(170 / 25.4 * 150, abs=1)


@pytest.mark.usefixtures("images")
def test_colours_are_told_apart(run: Call) -> None:
    """Every figure of a colour image is a table of its colours, in all three commands."""
    for command, figures in (
        ("noise", ("mean_dn", "snr", "column_pattern_dn")),
        ("uniformity", ("falloff_left", "streaks_dn", "banding_cyc_line", "snr_middle")),
        ("scene", ("noise_at_most_dn", "snr_at_least", "range_used")),
    ):
        found = asked(run, command, "c.tif", *BLACK)
        for name in figures:
            assert list(found[name]) == ["red", "green", "blue"], name
        _, out = run("measure", command, "c.tif", *BLACK)
        assert sum("green" in line for line in out.splitlines()) >= 4


@pytest.mark.usefixtures("images")
def test_a_scene_has_its_figures(run: Call) -> None:
    """Noise that was put in, percentiles and shares; where there is no detail none is told."""
    found = asked(run, "scene", "a.tif", *BLACK)
    assert found["noise_at_most_dn"] == pytest.approx(6, abs=0.6)
    assert found["snr_at_least"]["p50"] == pytest.approx(1968 / 6, rel=0.1)
    assert found["percentiles_dn"]["p50"] == pytest.approx(2000, abs=1)
    assert (found["detail_x_cyc_px"], found["share_at_full_scale"]) == (0, 0)
    assert "sharpness_along_across" not in found


def test_measuring_commands_are_refused_in_sentences(refused: Callable[..., str]) -> None:
    """A missing file, no region, a region outside, an ending that is no PNG, a depth too small."""
    assert "does not exist" in refused("measure", "noise", "none.tif")
    assert "--region" in refused("measure", "uniformity", "whole.png", "--region", "1,2,3")
    assert "reaches past" in refused("measure", "scene", "whole.png", "--region", "0,0,99,99")
    assert "at least 66" in refused("measure", "scene", "whole.png")
    assert "but 4 bit end at 15 DN" in refused("measure", "noise", "whole.png", "--bit-depth", "4")
    for command in ("noise", "uniformity", "scene"):
        assert "is cut short" in refused("measure", command, "cut.png")


@pytest.mark.usefixtures("images")
def test_a_plot_has_to_be_a_png(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another ending is refused, and nothing is written."""
    monkeypatch.setattr("sys.argv", ["linesim", "measure", "scene", "a.tif", "--plot", "a.pdf"])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 2
    assert '--plot "a.pdf": read the ending ".pdf"; expected .png' in capsys.readouterr().err
    assert not (tmp_path / "a.pdf").exists()
