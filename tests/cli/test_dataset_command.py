"""``linesim dataset`` from the outside."""

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from linesim.cli import main
from linesim.cli.progress import progress

PLAN = """\
setup = "base.toml"
count = 4
[scenes]
kind = "flat"
images_each = 1
[images]
good_share = 0.5
[faults]
kinds = ["pinhole"]
edge = "inside"
[faults.pinhole]
count = 1
diameter = "90 um:100 um"
change = "-0.6:-0.5"
"""


@pytest.fixture
def planned(here: Path) -> Path:
    """Write a plan beside a small setup."""
    (here / "plan.toml").write_text(PLAN, "utf-8")
    return here


def run(
    patch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str
) -> tuple[object, str, str]:
    """Run the command in this process."""
    patch.setattr(sys, "argv", ["linesim", "dataset", *arguments])
    with pytest.raises(SystemExit) as end:
        main()
    told = capsys.readouterr()
    return end.value.code, told.out, told.err


def test_a_set_is_made_and_verified(
    planned: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One JSON object, files in outputs/NAME; verified; a changed file makes it exit with 1."""
    code, out, err = run(monkeypatch, capsys, "plan.toml", "--workers", "1", "--json")
    assert (code, err) == (0, "")
    told = json.loads(out)
    assert told["folder"] == "outputs/plan"
    assert told["simulated"] is True
    assert sum(told["images"].values()) == 4
    assert (told["good"], told["labels"], told["kept"]) == (2, 2, 0)
    code, out, _ = run(monkeypatch, capsys, "--verify", "outputs/plan")
    assert code == 0
    assert "4 images made again are the same, byte for byte" in out
    (planned / "outputs" / "plan" / "images.csv").write_text("", "utf-8")
    code, out, _ = run(monkeypatch, capsys, "--verify", "outputs/plan", "--json", "--count", "1")
    assert code == 1
    assert json.loads(out)["faults"] == [
        "images.csv is not as it was written: it is empty",
        "images.csv is not what comes out when it is made again",
    ]


def test_without_a_plan_there_is_one(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The built-in plan; two of its images here. What is for people says what matters to them."""
    asked = ("--count", "2", "--workers", "1", "--seed", "3")
    code, out, err = run(monkeypatch, capsys, *asked)
    assert (code, err) == (0, "")
    assert (here / "outputs" / "sample_set" / "samples.png").is_file()
    assert "2 images (2 train, 0 val, 0 test)" in out
    assert "val has no image" in out
    assert "all of it is simulated" in out
    assert "guard and lock out by local code" in out
    # from the start again, on purpose, it goes on
    code, out, _ = run(
        monkeypatch, capsys, "--count", "2", "--workers", "1", "--seed", "3", "--resume"
    )
    assert code == 0
    assert "2 images were there already" in out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("gone.toml",), 'plan "gone.toml" does not exist'),
        (("base.toml",), "target: read {"),
        (("plan.toml", "--seed", "99999999999999999999"), "seed: read"),
        (("plan.toml", "--cluster", "local:2", "--workers", "2"), "expected one of the two"),
        (("plan.toml", "--verify", "outputs"), "read PLAN too"),
        (("--verify", "outputs"), '"outputs" holds no set'),
        (("plan.toml", "--out", "base.toml"), "is a file"),
        (("plan.toml", "--cluster", "nowhere"), "--cluster: "),
    ],
)
def test_refusals(
    planned: Path, refused: Callable[..., str], arguments: tuple[str, ...], told: str
) -> None:
    """In a sentence, with exit code 2, and nothing is written."""
    assert planned.is_dir()
    assert told in refused("dataset", *arguments)


def test_rate_and_time_left_are_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """
    On a terminal, from what this run has done.

    Ten of 110 images were there; 20 more took 10 s: 2 a second, and the 80 left take 40 s.
    """
    clock = iter([0.0, 0.0, 10.0])
    monkeypatch.setattr(time, "monotonic", lambda: next(clock))
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with progress("making images", timed=True) as tell:
        tell(11, 110)
        tell(30, 110)
    assert "30 of 110, 2 a second, 0:00:40 left" in capsys.readouterr().err
