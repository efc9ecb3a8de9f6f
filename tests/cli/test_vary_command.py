"""``linesim vary``: files, JSON, exit codes, refusals."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Call = Callable[..., tuple[int, str]]
pytestmark = pytest.mark.usefixtures("undrawn")


def test_vary_writes_three_files_and_answers(run: Call, tmp_path: Path) -> None:
    """Plot, table and figures land in outputs/NAME; the console ends with answer and files."""
    code, out = run(
        "vary", "tiny.toml", "light.illuminance=0.1klx:80klx:log4", "--binning", "1x1,2x2"
    )
    folder = tmp_path / "outputs" / "tiny"
    assert code == 0
    assert sorted(each.name for each in folder.iterdir()) == ["vary.csv", "vary.json", "vary.png"]
    assert "2x2 charge reaches SNR 20 on the product at" in " ".join(out.split())
    assert out.rstrip().endswith("wrote vary.png, vary.csv, vary.json in outputs/tiny/")


def test_the_sample_stands_in(run: Call, tmp_path: Path) -> None:
    """Without a setup file; --json prints the file's object and nothing else."""
    _, out = run("vary", "lens.f_number=2.8,4", "--figures", "snr_white", "--json")
    assert json.loads(out) == json.loads(
        (tmp_path / "outputs" / "sample" / "vary.json").read_text("utf-8")
    )


@pytest.mark.nightly
def test_rendered_points(run: Call) -> None:
    """--render adds what was measured; --seed chooses the noise, --workers nothing."""
    words = ("vary", "tiny.toml", "light.illuminance=10klx,20klx", "--figures", "snr_white")
    points = [
        json.loads(run(*words, "--render", "--json", "--seed", seed)[1])["rendered"]
        for seed in ("1", "1", "2")
    ]
    assert points[0] == points[1] != points[2]
    spread = run(*words, "--render", "--json", "--seed", "1", "--workers", "2")[1]
    assert json.loads(spread)["rendered"] == points[0]
    assert "rendered" not in json.loads(run(*words, "--json")[1])


@pytest.mark.parametrize(("text", "code"), [("1klx:80klx:log3", 0), ("1lx:100lx:log3", 1)])
def test_strict(run: Call, text: str, code: int) -> None:
    """1 where everything holds nowhere in the range, 0 where it does somewhere."""
    words = ("vary", "tiny.toml", f"light.illuminance={text}", "--figures", "snr_white")
    assert run(*words, "--strict")[0] == code
    assert code == 0 or run(*words)[0] == 0


def test_ways(run: Call, tmp_path: Path) -> None:
    """No range: the table of ways, and its figures as a file."""
    code, out = run("vary", "tiny.toml", "--ways")
    assert code == 0
    assert "binning 2x2" in out
    _, told = run("vary", "tiny.toml", "--ways", "--json")
    assert json.loads(told) == json.loads(
        (tmp_path / "outputs" / "tiny" / "ways.json").read_text("utf-8")
    )


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "range: nothing was read"),
        (("base.toml",), "range: nothing was read"),
        (("light.iluminance=1lx:2lx:lin2",), "did you mean light.illuminance?"),
        (("base.toml", "title=a"), "which has no range"),
        (("light.illuminance=1mm:2mm:lin2",), "mm is a unit of another kind"),
        (("lens.f_number=0.1:2:lin3",), "outside 0.5 to 256"),
        (("lens.f_number=1:2:lin9999999",), "more than 100000 values"),
        (("lens.f_number=1:2:lin3", "base.toml"), 'read "base.toml", but expected KEY='),
        (("nosuch.toml", "lens.f_number=1:2:lin3"), "does not exist"),
        (("lens.f_number=2,4", "--ways"), "expected one of the two"),
        (("lens.f_number=2,4", "--exposure", "short"), 'expected "same" or "full"'),
        (("lens.f_number=2,4", "--binning", "9x9"), "this is not two factors"),
        (("lens.f_number=2,4", "--figures", "beauty"), "no such figure"),
        (("lens.f_number=2,4", "--out", "base.toml"), "is a file"),
        (("lens.f_number=2,4", "--workers", "2"), "--workers: read without --render"),
        (("lens.f_number=2,4", "--cluster", "local:2"), "--cluster: read without --render"),
        (
            ("lens.f_number=2,4", "--render", "--workers", "2", "--cluster", "local:2"),
            "expected one of the two",
        ),
    ],
)
def test_refusals(refused: Callable[..., str], words: tuple[str, ...], told: str) -> None:
    """Exit 2 and one sentence; nothing is written."""
    err = refused("vary", *words)
    assert told in err
    assert err.count("\n") == 1
