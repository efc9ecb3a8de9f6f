"""``linesim measure edge`` and ``measure bars``: text, JSON, plots, refusals."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.stats import norm

from linesim.cli import main
from linesim.files.images_out import write_tiff
from linesim.setup.arrays import FloatArray
from tests.stations import plain_toml

Call = Callable[..., tuple[int, str]]
BARS = plain_toml(
    "Bars",
    target={"image": "bars", "pixel_size": "18.75 um", "width": "12 mm", "height": "12 mm"},
    light={"illuminance": "150 klx"},
    camera={"pixels": 160, "full_well": "40 ke"},
)


def edge_spread(sigma_px: float) -> FloatArray:
    """Give an edge of 6° and 120 x 70 px from 0 to 1."""
    angle = np.radians(6.0)
    y, x = np.mgrid[:120, :70].astype(float)
    d = (x - 34.7) * np.cos(angle) - (y - 60) * np.sin(angle)
    return np.asarray(norm.cdf(d / sigma_px))


@pytest.fixture
def edge_file(tiny: str) -> str:  # noqa: ARG001 -- brings the working folder
    """Write an edge of 12 bit with noise into the working folder."""
    noise = np.random.default_rng(1).normal(0, 20, (120, 70))
    codes = np.rint(600 + 2000 * edge_spread(0.8) + noise).astype(np.uint16)
    write_tiff("edge.tif", codes)
    return "edge.tif"


@pytest.fixture
def bars_file(run: Call) -> str:
    """Scan a small bar target in the working folder."""
    Path("bars.toml").write_text(BARS, "utf-8")
    assert run("scan", "bars.toml", "--out", "bars")[0] == 0
    return "bars/scan.tif"


def test_edge_is_told_in_words(run: Call, edge_file: str) -> None:
    """Region, direction, figures with their ±, and how frequencies are meant."""
    code, out = run("measure", "edge", edge_file, "--pixel-pitch", "50 um")
    assert code == 0
    assert max(map(len, out.splitlines())) <= 100
    for piece in (
        "edge of edge.tif",
        "region 0,0,70,120 (found, ",
        "12 bit",
        "light changes across, +6.0",
        "lp/mm on the target",
        "MTF at Nyquist",
        " um on the target",
        "none over noise",
        "along the edge's normal",
        "one standard deviation, from 300 draws",
    ):
        assert piece in out
    assert out.count("±") >= 6


def test_edge_in_json(run: Call, edge_file: str) -> None:
    """One object with the promised names; the same arguments give the same bytes."""
    code, out = run("measure", "edge", edge_file, "--json", "--region", "4,5,60,100")
    found = json.loads(out)
    assert code == 0
    assert {
        "angle_deg", "mtf50_cyc_px", "mtf10_cyc_px", "mtf_nyquist", "rise_10_90_px", "overshoot",
        "frequency_cyc_px", "mtf", "mtf50_cyc_px_sd", "mtf_sd", "region", "direction",
    } <= set(found)  # fmt: skip
    assert found["region"] == {"x_px": 4, "y_px": 5, "width_px": 60, "height_px": 100}
    assert found["region_found"] is False
    assert len(found["mtf"]) == len(found["frequency_cyc_px"]) == len(found["mtf_sd"])
    # 0.187391/σ (algebra), five of its own standard deviations
    assert found["mtf50_cyc_px"] == pytest.approx(0.187391 / 0.8, abs=5 * found["mtf50_cyc_px_sd"])
    assert run("measure", "edge", edge_file, "--json", "--region", "4,5,60,100")[1] == out


@pytest.mark.nightly
def test_edge_plot_is_the_same_every_time(run: Call, edge_file: str) -> None:
    """A PNG of two axes side by side, without a date in it."""
    for name in ("a.png", "b.png"):
        assert run("measure", "edge", edge_file, "--plot", name)[0] == 0
    assert Path("a.png").read_bytes() == Path("b.png").read_bytes()
    with Image.open("a.png") as drawn:
        assert drawn.width > drawn.height > 300


def test_bars_are_told_in_words(run: Call, bars_file: str) -> None:
    """A table a direction, closed forms beside, and the finest group."""
    code, out = run("measure", "bars", bars_file, "--setup", "bars/setup.toml")
    assert code == 0
    assert max(map(len, out.splitlines())) <= 100
    for piece in (
        "bars of scan.tif",
        "groups placed by the setup",
        "light changes across",
        "light changes along",
        "closed form",
        "finest with a contrast of 0.2 or more: ",
        "Coltman",
        "* above 0.4 cycles/px",
    ):
        assert piece in out


def test_bars_in_json_and_as_a_plot(run: Call, bars_file: str) -> None:
    """Both directions, each with its groups; regions give names of their own."""
    code, out = run(
        "measure", "bars", bars_file, "--setup", "bars/setup.toml", "--json", "--plot", "bars.png",
        "--contrast", "0.7",
    )  # fmt: skip
    found = json.loads(out)
    assert code == 0
    assert found["contrast_wanted"] == 0.7
    for direction in ("across", "along"):
        sets = found[direction]["sets"]
        assert {"contrast", "contrast_sd", "mtf", "mtf_sd", "expected_mtf"} <= set(sets[0])
        assert found[direction]["finest"] in sets
    with Image.open("bars.png") as drawn:
        assert drawn.width > drawn.height > 300


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("edge", "whole.png"), "all values are alike"),
        (("edge", "nothing.tif"), 'image "nothing.tif" does not exist'),
        (("edge", "text.png"), "a text file, not an image"),
        (("edge", "whole.png", "--region", "1,2,3"), '--region: read "1,2,3"'),
        (("edge", "whole.png", "--region", "50,0,20,20"), "past the image's 60 columns"),
        (("edge", "whole.png", "--direction", "down"), '--direction: read "down"'),
        (("edge", "whole.png", "--channel", "red"), "one channel only"),
        (("edge", "whole.png", "--encoding", "log"), '--encoding: read "log"'),
        (("edge", "whole.png", "--bit-depth", "7"), "7 bit end at 127 DN"),
        (("edge", "whole.png", "--pixel-pitch", "75"), "the unit is missing"),
        (("bars", "whole.png"), "--setup, --region: neither given"),
        (("bars", "whole.png", "--setup", "base.toml"), 'target.image is "flat"'),
        (("bars", "whole.png", "--region", "0,0,20,20"), "all values of the region are alike"),
        (("bars", "whole.png", "--region", "0,0,9,9", "--contrast", "2"), "--contrast: 2 read"),
    ],
)
def test_refusals(refused: Callable[..., str], arguments: tuple[str, ...], told: str) -> None:
    """Exit code 2, one sentence, nothing written."""
    assert told in refused("measure", *arguments)


def test_a_plot_needs_its_ending(
    edge_file: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another ending than .png is refused, and nothing is left."""
    monkeypatch.setattr("sys.argv", ["linesim", "measure", "edge", edge_file, "--plot", "a.jpg"])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 2
    assert '--plot "a.jpg": read the ending ".jpg"; expected .png' in capsys.readouterr().err
    assert not Path("a.jpg").exists()
