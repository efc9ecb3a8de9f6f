"""What the tests import is what lies in this tree, whether installed from a wheel or editable."""

from pathlib import Path

import linesim

TREE = Path(__file__).parents[2] / "linesim"
INSTALLED = Path(linesim.__file__).parent


def contents(folder: Path) -> dict[str, bytes]:
    """Read all files of a package but what Python leaves there."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_the_installed_package_is_the_tree() -> None:
    """No file is missing in the wheel, left over or out of date; if one is, install again."""
    tree, installed = contents(TREE), contents(INSTALLED)
    names = sorted(tree.keys() | installed.keys())
    assert [name for name in names if tree.get(name) != installed.get(name)] == []
