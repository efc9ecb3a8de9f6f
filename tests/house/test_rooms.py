"""The rooms of the house: what stands under linesim/ is in the plan and in the import check."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = {path.parent.name for path in (ROOT / "linesim").glob("*/__init__.py")}
TOP = {"linesim", "outputs", "sample_targets", "tests"}


def chain() -> list[str]:
    """List the layers of the import check, top first."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]
    layers = next(c["layers"] for c in contracts["contracts"] if c["type"] == "layers")
    return [layer.removeprefix("linesim.") for layer in layers]


def plan() -> str:
    """Take the plan of the house out of DEVELOPERS.md: the first block of its first section."""
    _, _, rest = (ROOT / "DEVELOPERS.md").read_text("utf-8").partition("## The plan of the house")
    return rest.split("```")[1]


def test_every_room_is_in_the_import_check() -> None:
    """A new room takes its place in the chain, and a room that is gone leaves it."""
    assert sorted(chain()) == sorted(ROOMS)


def test_every_room_is_in_the_plan_in_the_order_of_the_chain() -> None:
    """A reader finds every room in DEVELOPERS.md, from the door of setup to the command line."""
    named = re.findall(r"^  (\w+)/", plan(), flags=re.MULTILINE)
    assert named == chain()[::-1]


MOST_MODULES = 24


def test_every_module_is_in_a_room() -> None:
    """Nothing but the two front doors lies loose under linesim/, and every room says what it is."""
    loose = {path.name for path in (ROOT / "linesim").glob("*.py")}
    assert loose == {"__init__.py", "__main__.py"}
    rooms = {path.parent for path in (ROOT / "linesim").rglob("*.py")}
    assert [room for room in rooms if not (room / "__init__.py").exists()] == []


def test_no_room_is_too_full() -> None:
    """A reader takes a room in at a glance: at most 24 modules, besides the one that names it."""
    rooms = {path.parent for base in ("linesim", "tests") for path in (ROOT / base).rglob("*.py")}
    counts = {room.relative_to(ROOT): len(list(room.glob("[!_]*.py"))) for room in rooms}
    full = {room: n for room, n in counts.items() if n > MOST_MODULES and room.name != "bench"}
    assert full == {}


def test_every_stage_is_in_the_plan() -> None:
    """The modules of the forward model are all named where the plan tells of the light's path."""
    stages = {path.stem for path in (ROOT / "linesim" / "forward").glob("[!_]*.py")}
    _, _, rest = (ROOT / "DEVELOPERS.md").read_text("utf-8").partition("## The path of the light")
    told = set(re.findall(r"`(\w+)\.py`", rest.split("\n## ")[0]))
    assert told == stages


def test_tests_mirror_the_rooms() -> None:
    """A folder of tests is a room's, or one of the four that look at the whole."""
    folders = {path.name for path in (ROOT / "tests").iterdir() if path.is_dir()}
    assert folders - {"__pycache__"} - ROOMS <= {"bench", "data", "house", "outside"}
