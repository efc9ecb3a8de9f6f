"""What must not be left behind: paths of one machine, unfinished work, bare excuses."""

import re
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
TEXT = {".csv", ".md", ".py", ".svg", ".toml", ".txt", ".yml"}
HOMES = (".ci", "linesim", "outputs/gallery", "sample_targets", "tests")
UNFINISHED = "|".join(("TO" + "DO", "FIX" + "ME", "X" * 3))
OF_ONE_MACHINE = re.compile(r"(?<![\w.~:/])(/(work|tmp|root|home|Users)/|[A-Z]:\\)")
EXCUSE = re.compile(r"# (noqa|type: ignore)(?P<tail>.*)")
NOQA = re.compile(r": [A-Z]+\d+(, ?[A-Z]+\d+)* -- \w.*")
IGNORE = re.compile(r"\[[a-z-]+(, ?[a-z-]+)*\].*")


def files() -> list[Path]:
    """List the texts that people get: those at the top, and all in the folders we keep."""
    top = [path for path in ROOT.iterdir() if path.is_file()]
    below = [path for home in HOMES for path in (ROOT / home).rglob("*") if path.is_file()]
    kept = [path for path in (*top, *below) if "__pycache__" not in path.parts]
    return sorted(path for path in kept if path.suffix in TEXT or path.parent.name == ".ci")


def named(path: Path) -> str:
    """Name a file as seen from the top."""
    return path.relative_to(ROOT).as_posix()


def lines_with(path: Path, pattern: re.Pattern[str]) -> list[str]:
    """Give the lines of a file in which a pattern is found."""
    lines = path.read_text("utf-8").splitlines()
    return [f"{number}: {line}" for number, line in enumerate(lines, 1) if pattern.search(line)]


def bare_excuses(path: Path) -> list[str]:
    """Give the excuses of a file that name no rule, or no reason where one is due."""
    found = [
        match for line in path.read_text("utf-8").splitlines() for match in EXCUSE.finditer(line)
    ]
    rule = {"noqa": NOQA, "type: ignore": IGNORE}
    return [match[0] for match in found if not rule[match[1]].fullmatch(match["tail"])]


def faults(paths: list[Path], find: Callable[[Path], list[str]]) -> dict[str, list[str]]:
    """Give what was found in each file, files without a fault left out."""
    assert len(paths) > 10
    return {named(path): found for path in paths if (found := find(path))}


def test_nothing_is_left_unfinished() -> None:
    """No note says that something is still to be done; an open end is an issue, not a comment."""
    pattern = re.compile(rf"\b({UNFINISHED})\b")
    assert faults(files(), lambda path: lines_with(path, pattern)) == {}


def test_no_path_of_one_machine() -> None:
    """Pages, code and setups name no absolute path; tests may, to see it refused."""
    shown = [path for path in files() if "tests" not in path.parts]
    assert faults(shown, lambda path: lines_with(path, OF_ONE_MACHINE)) == {}


def test_every_excuse_has_a_reason() -> None:
    """A silenced lint names its rule and says why; a silenced type check names its rule."""
    assert faults([path for path in files() if path.suffix == ".py"], bare_excuses) == {}


def test_the_patterns_find_what_they_should() -> None:
    """The patterns see a plain offender each, and let the ordinary pass."""
    assert OF_ONE_MACHINE.search("see /" + "home/me/x.png")
    assert not OF_ONE_MACHINE.search("https://example.org/" + "home/x")
    assert NOQA.fullmatch(": PLR2004 -- MTF50")
    assert not NOQA.fullmatch(": PLR2004")
    assert IGNORE.fullmatch("[arg-type]")
    assert not IGNORE.fullmatch("")
