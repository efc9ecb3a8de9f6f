"""Modules stay small enough to be read in one go."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
LONGEST = 300
MODULES = sorted(path for room in ("linesim", "tests") for path in (ROOT / room).rglob("*.py"))


def test_modules_stay_small() -> None:
    """No module is longer than 300 lines."""
    lengths = {
        path.relative_to(ROOT).as_posix(): len(path.read_text("utf-8").splitlines())
        for path in MODULES
    }
    assert len(lengths) > 100
    assert {name: lines for name, lines in lengths.items() if lines > LONGEST} == {}
