"""
The list of cautions in linesim/figures/README.md is what the code has and what commands show.

Codes are read off the source. Which command shows them is found by letting a station have all of
them at once. With LINESIM_WRITE=1 the list is written anew.
"""

import ast
import os
from collections.abc import Callable
from pathlib import Path

import pytest
import tifffile

from linesim.figures import budget as budget_module
from linesim.figures import safety
from linesim.figures.cautions import Caution
from linesim.preview.answer import words
from linesim.preview.desk import judged
from linesim.preview.variant import Variant
from linesim.setup.load import load_setup
from linesim.studies.measure.against import study as measuring
from linesim.studies.scan.study import scan
from tests.stations import plain_toml

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "linesim" / "figures" / "README.md"
MEASURES = {
    "camera": ("camera/cautions",),
    "noise": ("flat/noise", "areas.file_cautions", "flat/cautions", "areas.black_caution"),
    "uniformity": ("flat/uniformity", "areas.file_cautions", "flat/cautions",
                   "areas.black_caution"),
    "scene": ("scene/study", "areas.file_cautions", "areas.black_caution"),
    "edge": ("areas.file_cautions",),
    "bars": ("areas.file_cautions",),
}  # fmt: skip
"""What in `studies/measure/` words the cautions of a measurement: modules, or a function."""
SETUP = plain_toml(
    "All",
    target={"width": "20 mm", "height": "20 mm"},
    camera={"pixels": 192},
    acquisition={"lines": 192},
)
PLAN = """\
setup = "all.toml"
count = 1
[scenes]
kind = "flat"
images_each = 1
"""
SPACE = """\
setup = "all.toml"
[options]
lens.f_number = [4.0, 5.6]
"""
COMMANDS = {
    "budget": ("budget", "all.toml"),
    "scan": ("scan", "all.toml"),
    "compare": ("compare", "all.toml", "--binning", "1x1,2x1"),
    "rank": ("rank", "space.toml"),
    "vary": ("vary", "all.toml", "lens.f_number=4,5.6", "--figures", "snr_white"),
    "vary --ways": ("vary", "all.toml", "--ways"),
    "dataset": ("dataset", "plan.toml", "--workers", "1"),
    "measure against": ("measure", "against", "all.toml", "seen.tif"),
}
AGAIN = {"dataset": ("--resume",)}
"""What a command needs that has already run."""


def codes_in(path: Path, function: str = "") -> set[str]:
    """Find first words of yielded pairs, codes of `Caution`, and the codes of limits."""
    found = set()
    tree: ast.AST = ast.parse(path.read_text("utf-8"))
    if function:
        tree = next(node for node in ast.walk(tree) if getattr(node, "name", "") == function)
    for node in ast.walk(tree):
        if isinstance(node, ast.Yield) and isinstance(node.value, ast.Tuple):
            found.add(node.value.elts[0])
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Caution":
            found.update(node.args[:1])
        if isinstance(node, ast.Dict):
            values = (getattr(each, "elts", (each,)) for each in node.values)
            found.update(each[0] for each in values if each)
    words = {node.value for node in found if isinstance(node, ast.Constant)}
    return {word for word in words if isinstance(word, str)}


STATION = sorted(
    codes_in(ROOT / "linesim" / "figures" / "cautions.py")
    | codes_in(ROOT / "linesim" / "figures" / "faults.py")
    | codes_in(ROOT / "linesim" / "figures" / "level_cautions.py")
    | codes_in(ROOT / "linesim" / "figures" / "noise_limits.py")
    | codes_in(ROOT / "linesim" / "figures" / "relief_cautions.py")
)
Run = Callable[..., tuple[int, str]]


def said(code: str) -> tuple[str, str]:
    """Give a caution whose words tell its code."""
    return code, f"Said of {code}."


@pytest.fixture
def shown(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, set[str]]:
    """Give the codes that each command shows, on the console and in JSON, of a station with all."""
    for name, text in (("all.toml", SETUP), ("plan.toml", PLAN), ("space.toml", SPACE)):
        (tmp_path / name).write_text(text, "utf-8")
    setup = load_setup(tmp_path / "all.toml")
    tifffile.imwrite(tmp_path / "seen.tif", scan(setup).image)
    light = tuple(said(code) for code in safety.CODES)
    told = tuple(Caution(code=code, text=text) for code, text in (*map(said, STATION), *light))
    monkeypatch.setattr(budget_module, "cautions", lambda *_: told)
    monkeypatch.setattr(safety, "safety_cautions", lambda _: light)
    monkeypatch.setattr(measuring, "safety_cautions", lambda _: light)
    found = {}
    for name, arguments in COMMANDS.items():
        plain, machine = run(*arguments)[1], run(*arguments, "--json", *AGAIN.get(name, ()))[1]
        found[name] = {each.code for each in told if each.text in plain and each.text in machine}
    page = words(judged(Variant(setup=setup, upload=None), None))["figures"]["cautions"]
    found["preview"] = {each["code"] for each in page}
    return found


def listed(shown: dict[str, set[str]]) -> str:
    """Make the table: a row a code, with what shows it."""
    rows = {
        code: [name for name, codes in shown.items() if code in codes]
        for code in (*STATION, *safety.CODES)
    }
    for kind, modules in MEASURES.items():
        for module in modules:
            name, _, function = module.partition(".")
            for code in codes_in(ROOT / "linesim" / "studies" / "measure" / f"{name}.py", function):
                rows.setdefault(code, []).append(f"measure {kind}")
    lines = [f"| `{code}` | {', '.join(rows[code])} |" for code in sorted(rows)]
    return "\n".join(["| code | shown by |", "|---|---|", *lines]) + "\n"


@pytest.mark.usefixtures("undrawn")
def test_the_list_is_what_commands_show(shown: dict[str, set[str]]) -> None:
    """
    Code by code; and every command that shows a light level has all codes about people.

    Where the list differs, run this test with LINESIM_WRITE=1 and read what changed.
    """
    for name, codes in shown.items():
        assert codes >= set(safety.CODES), name
    for name in ("budget", "scan", "compare", "rank", "preview"):
        assert shown[name] >= set(STATION), name
    head, mark, _ = PAGE.read_text("utf-8").partition("| code | shown by |\n")
    wanted = head + listed(shown)
    if os.environ.get("LINESIM_WRITE"):
        PAGE.write_text(wanted, "utf-8")
    assert mark
    assert PAGE.read_text("utf-8") == wanted
