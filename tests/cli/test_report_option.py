"""``--report`` writes one more file and says so, whichever command it is given to."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Call = Callable[..., tuple[int, str]]
pytestmark = pytest.mark.usefixtures("undrawn")
SPACE = 'setup = "tiny.toml"\n[options]\nlens.f_number = [2.8, 4]\n[requirement]\nsnr = 30\n'
COMMANDS = {
    "scan": ["scan", "tiny.toml"],
    "compare": ["compare", "tiny.toml", "--binning", "1x1,2x2"],
    "vary": ["vary", "tiny.toml", "light.illuminance=10klx:80klx:log4"],
    "rank": ["rank", "space.toml"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_a_report_lies_beside_the_other_files(name: str, run: Call, tmp_path: Path) -> None:
    """The page is written, named last among the files, and is a whole HTML file."""
    (tmp_path / "space.toml").write_text(SPACE, "utf-8")
    code, out = run(*COMMANDS[name], "--report")
    assert code == 0
    assert (
        out.rstrip()
        .splitlines()[-1]
        .endswith(f"report.html in outputs/{'space' if name == 'rank' else 'tiny'}/")
    )
    (written,) = tmp_path.rglob("report.html")
    text = written.read_text("utf-8")
    assert text.startswith("<!DOCTYPE html>")
    assert text.endswith("</html>\n")


def test_json_stays_alone_on_stdout(run: Call, tmp_path: Path) -> None:
    """With --json the page is written all the same, and stdout has one object."""
    code, out = run("scan", "tiny.toml", "--report", "--json")
    assert code == 0
    assert json.loads(out)["geometry"]
    assert (tmp_path / "outputs" / "tiny" / "report.html").is_file()


def test_without_it_there_is_no_page(run: Call, tmp_path: Path) -> None:
    """No page that nobody asked for."""
    run("scan", "tiny.toml")
    assert list(tmp_path.rglob("report.html")) == []


@pytest.mark.parametrize("name", ["scan", "compare", "vary"])
def test_a_missing_library_is_refused_before_the_work(
    name: str, refused: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is written and nothing computed; the sentence says what to install."""
    monkeypatch.setattr("linesim.setup.arguments.find_spec", lambda _: None)
    words = [word.replace("tiny", "base") for word in COMMANDS[name]]
    assert "needs jinja2 and matplotlib" in refused(*words, "--report")


def test_ways_have_no_page(refused: Callable[..., str]) -> None:
    """--ways has no range to report on, and says so."""
    assert "read --report too" in refused("vary", "base.toml", "--ways", "--report")


@pytest.mark.parametrize("name", COMMANDS)
def test_the_first_page_can_be_had_alone(name: str, run: Call, tmp_path: Path) -> None:
    """--one-page writes one_page.html and no report; what is written is named."""
    (tmp_path / "space.toml").write_text(SPACE, "utf-8")
    code, out = run(*COMMANDS[name], "--one-page")
    assert code == 0
    assert "one_page.html in outputs/" in out
    assert list(tmp_path.rglob("report.html")) == []
    (written,) = tmp_path.rglob("one_page.html")
    text = written.read_text("utf-8")
    assert text.endswith("</html>\n")
    assert "Moving webs and nips draw hands in" in text
