"""Each check in tests/outside names where its numbers come from."""

import ast
import re
from pathlib import Path

OUTSIDE = sorted((Path(__file__).parents[1] / "outside").glob("test_*.py"))
SOURCES = re.compile(
    r"""
    \bderived\b | \bfrom\ memory\b | common\ practice,\ no\ source       # none to be looked up
    | \bISO\ \d+ | \bEMVA\ 1288\b | \bIEC\ \d+ | \bCIE\b | \bMIL-STD-\d+ | \bSI\ 2019\b  # standards
    | scipy | skimage | scikit-image | sklearn | scikit-learn | numpy | cv2 | OpenCV     # libraries
    | \bcolour[.-] | pycocotools
    | \*[A-Z][^*]+\*\ \d+                                                # a journal and its volume
    """,
    re.VERBOSE,
)


def checks() -> list[tuple[str, str, str]]:
    """File, test, and what its docstring and that of its file say."""
    files = {path.name: ast.parse(path.read_text("utf-8")) for path in OUTSIDE}
    return [
        (name, node.name, f"{ast.get_docstring(file)}\n{ast.get_docstring(node)}")
        for name, file in files.items()
        for node in file.body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    ]


def test_the_source_stands_beside_the_check() -> None:
    """A standard, a library, a journal, or the words that there is none to be looked up."""
    found = checks()
    assert len(found) > 100
    assert [(file, name) for file, name, said in found if not SOURCES.search(said)] == []
