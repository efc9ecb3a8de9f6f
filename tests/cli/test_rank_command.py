"""``linesim rank``: files, figures, exit codes."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Call = Callable[..., tuple[int, str]]
pytestmark = pytest.mark.usefixtures("undrawn")
SPACE = """\
setup = "tiny.toml"
[options]
lens.f_number = [2.8, 4, 5.6]
light.illuminance = "10 klx:80 klx:log4"
[requirement]
snr = 30
"""


@pytest.fixture
def space(tmp_path: Path) -> Path:
    """Give the text of a small space that stands beside tiny.toml."""
    path = tmp_path / "space.toml"
    path.write_text(SPACE, "utf-8")
    return path


@pytest.mark.usefixtures("space")
def test_rank_writes_and_tells(run: Call, tmp_path: Path) -> None:
    """Four files in outputs/NAME, the answer on the console, and a best setup that can be run."""
    code, out = run("rank", "space.toml")
    folder = tmp_path / "outputs" / "space"
    assert code == 0
    names = ["best.toml", "rank.csv", "rank.json", "rank.png"]
    assert sorted(each.name for each in folder.iterdir()) == names
    assert "Yes: " in out
    assert out.rstrip().endswith("wrote rank.csv, rank.json, rank.png, best.toml in outputs/space/")
    code, out = run("budget", "outputs/space/best.toml", "--json", "--strict")
    assert code == 0
    assert json.loads(out)["signal"]["snr_white"] >= 30


@pytest.mark.usefixtures("space")
def test_json_is_what_the_file_holds(run: Call, tmp_path: Path) -> None:
    """One object on stdout, the same as rank.json; --top and --out are obeyed."""
    code, out = run("rank", "space.toml", "--json", "--top", "2", "--out", "there")
    assert code == 0
    assert json.loads(out) == json.loads((tmp_path / "there" / "rank.json").read_text("utf-8"))
    assert len(json.loads(out)["best"]) == 2


def test_strict_ends_with_1_where_nothing_passes(run: Call, space: Path) -> None:
    """Exit 0 without --strict, 1 with it; the answer is told either way."""
    space.write_text(SPACE.replace("snr = 30", "snr = 9999"), "utf-8")
    assert run("rank", "space.toml")[0] == 0
    code, out = run("rank", "space.toml", "--strict")
    assert code == 1
    assert "No: of 12 options none meets every demand." in out


@pytest.mark.usefixtures("here")
def test_refusals(refused: Callable[..., str], tmp_path: Path) -> None:
    """A space that is refused leaves nothing behind; all its faults are told."""
    (tmp_path / "bad.toml").write_text("[options]\nlens.f_number = []\nfoo = [1]\n", "utf-8")
    told = refused("rank", "bad.toml")
    assert told.count("linesim: options.") == 2
    assert "does not exist" in refused("rank", "none.toml")
