"""Modules stay small enough to be read in one go."""

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LONGEST = 300
MODULES = sorted(path for room in ("linesim", "tests") for path in (ROOT / room).rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_modules_stay_small(path: Path) -> None:
    """No module is longer than 300 lines."""
    assert len(path.read_text("utf-8").splitlines()) <= LONGEST
