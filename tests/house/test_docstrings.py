"""What one room takes from another says its shapes, units and errors, by numpydoc's own check."""

import inspect
import pkgutil
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

from numpydoc.validate import validate

import linesim
from linesim.setup.vocabulary import Section

SKIP = {
    "ES01",  # a second paragraph only where one sentence does not do
    "EX01",  # README.md has the examples
    "SA01",  # imports lead the reader on
    "PR07",  # kind and meaning stand in one line, and an obvious kind has no more to say
    "PR09",  # the unit in brackets comes last
    "RT01",  # the first sentence says it, and the annotation its kind
    "RT03",  # as of a parameter
    "RT05",  # the same
    "RT02",  # two values returned are named
}
"""Codes that do not hold here, each with the reason."""


IMPORT = re.compile(r"^ *from (linesim\.[\w.]+) import (\([^)]*|[\w, ]+)", re.MULTILINE)
NUMBERS = re.compile(r"\b(float|int|NDArray|ndarray|\w+Array|Figure)\b")
NAME = re.compile(r"(?<!as )\b(?!as\b)\w+")


def modules() -> Iterator[str]:
    """Name every module but those of the command line, whose help documents the options."""
    for found in pkgutil.walk_packages(linesim.__path__, "linesim."):
        if not found.name.startswith("linesim.cli"):
            yield found.name


def is_told_elsewhere(thing: object) -> bool:
    """Leave out protocols (methods only) and setup sections (each key carries its own words)."""
    is_section = isinstance(thing, type) and issubclass(thing, Section)
    return is_section or bool(getattr(thing, "_is_protocol", False))


def room_of(module: str) -> str:
    """Take the room out of a module's name; each study is one of its own."""
    parts = module.split(".")
    return ".".join(parts[: 3 if parts[1:2] == ["studies"] else 2])


def crossing() -> set[str]:
    """Name what a module of one room imports from another, and what the front door hands on."""
    root = Path(linesim.__path__[0])
    found: set[str] = set()
    for path in root.rglob("*.py"):
        module = ".".join(("linesim", *path.relative_to(root).with_suffix("").parts))
        for home, names in IMPORT.findall(path.read_text("utf-8")):
            if room_of(home) != room_of(module):
                found.update(f"{home}.{each}" for each in NAME.findall(names))
    return found


def public_names() -> Iterator[str]:
    """Name every function and class that crosses a room, where it is defined."""
    taken = crossing()
    for module in modules():
        for name, thing in vars(import_module(module)).items():
            if (
                f"{module}.{name}" in taken
                and (inspect.isfunction(thing) or inspect.isclass(thing))
                and thing.__module__ == module
                and not is_told_elsewhere(thing)
            ):
                yield f"{module}.{name}"


def measures(name: str) -> bool:
    """Tell whether something takes numbers or arrays, which have units and shapes."""
    module, _, own = name.rpartition(".")
    given = inspect.signature(getattr(import_module(module), own)).parameters.values()
    return any(NUMBERS.search(str(each.annotation)) for each in given)


def faults(name: str) -> list[tuple[str, str]]:
    """Say where a docstring and its signature part."""
    told = validate(name)
    silent = "Parameters\n" not in told["docstring"] and not measures(name)
    skip = SKIP | {"PR01"} if silent else SKIP
    return [fault for fault in told["errors"] if fault[0] not in skip]


def test_docstrings_agree_with_the_signatures() -> None:
    """Every parameter is there, in order, with its type, wherever one is a number or an array."""
    names = sorted(public_names())
    # the list is not empty because of a broken walk: well-known names are in it
    assert {"linesim.forward.render.render", "linesim.setup.setup.Setup"} <= set(names)
    assert {name: found for name in names if (found := faults(name))} == {}
