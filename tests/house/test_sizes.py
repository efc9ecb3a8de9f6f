"""Modules stay small enough to be read in one go."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
MOST = {"linesim": 200, "tests": 225}
"""Lines of code; a test holds its table of cases too."""
MODULES = sorted(path for room in ("linesim", "tests") for path in (ROOT / room).rglob("*.py"))


def code_lines(text: str) -> int:
    """Count lines that are neither blank, nor a comment, nor of a docstring or an import."""
    told: set[int] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import | ast.ImportFrom) or (
            isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        ):
            told.update(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return sum(
        number not in told and bool(line.strip()) and not line.strip().startswith("#")
        for number, line in enumerate(text.splitlines(), 1)
    )


def test_modules_stay_small() -> None:
    """No module has more lines of code than can be read in one go; words beside it are free."""
    assert len(MODULES) > 100
    too_long = {}
    for path in MODULES:
        name, text = path.relative_to(ROOT).as_posix(), path.read_text("utf-8")
        most = MOST[name.partition("/")[0]]
        rows = map(str.strip, text.splitlines())
        if sum(bool(row) and row[0] != "#" for row in rows) <= most:
            continue  # parsing takes its time
        if (lines := code_lines(text)) > most:
            too_long[name] = lines
    assert too_long == {}


def test_code_is_told_from_words() -> None:
    """A text inside code counts, words beside it do not."""
    text = '"""Said."""\n\n# why\nx = 1\n"""What x is."""\ny = """a\nb"""\n'
    assert code_lines(text) == 3
