"""What the pages promise holds: links lead somewhere, commands are those CI runs, examples run."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
LONGEST_WORDS = 1500
LONGEST_GUIDE = 15_000
HOMES = ("linesim", "sample_targets", "tests")
PAGES = sorted(
    [*ROOT.glob("*.md"), ROOT / "outputs" / "README.md"]
    + [path for home in HOMES for path in (ROOT / home).rglob("*.md")]
)
LINK = re.compile(r"\]\(([^)#\s]+)")
PYTHON = [
    code
    for page in PAGES
    for code in re.findall(r"```python\n(.*?)```", page.read_text("utf-8"), flags=re.DOTALL)
]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page: Path) -> None:
    """A link or picture within the project names a file that is there."""
    links = [link for link in LINK.findall(page.read_text("utf-8")) if "://" not in link]
    assert [link for link in links if not (page.parent / link).exists()] == []


MODULES = [
    path.relative_to(ROOT).as_posix() for home in HOMES for path in (ROOT / home).rglob("*.py")
]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_a_module_that_a_page_names_is_there(page: Path) -> None:
    """By its name, or by the end of its path."""
    named = re.findall(r"`([\w/]+\.py)`", page.read_text("utf-8"))
    ends = tuple(f"/{module}" for module in MODULES)
    assert [name for name in named if not any(end.endswith(f"/{name}") for end in ends)] == []


@pytest.mark.parametrize("start", ["python3 -m venv", ".venv/bin/pytest"])
def test_ci_finds_the_command_it_runs(start: str) -> None:
    """The README has the two commands once each, on a line of their own, where .ci/run looks."""
    assert len([line for line in README.splitlines() if line.startswith(start)]) == 1
    assert f"'{start}'" in (ROOT / ".ci" / "run").read_text("utf-8")


@pytest.mark.parametrize("code", PYTHON, ids=lambda code: code.partition("\n")[0])
def test_the_python_example_runs(code: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a page shows for Python runs as it stands, from the top folder, without a warning."""
    monkeypatch.chdir(ROOT)
    exec(code, {})  # noqa: S102 -- the page's own


def test_there_is_a_python_example() -> None:
    """The list above is not empty because of another way to write the block."""
    assert PYTHON


def test_the_first_page_is_short() -> None:
    """The job, a picture, two commands, the questions and where to read on: in some minutes."""
    assert len(README.split()) < LONGEST_WORDS


def test_the_guide_for_contributors_is_short() -> None:
    """It is read whole before a first change."""
    assert len((ROOT / "DEVELOPERS.md").read_text("utf-8")) < LONGEST_GUIDE
