"""
What one room takes from another says its shapes, units and errors, by numpydoc's own check.

It loads all of linesim, torch too.
"""

import inspect
import pkgutil
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest
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
    "YD01",  # as RT01
}
"""Codes that do not hold here, each with the reason."""


IMPORT = re.compile(r"^ *from (linesim\.[\w.]+) import (\([^)]*|[\w, ]+)", re.MULTILINE)
ARRAYS = re.compile(r"\b(NDArray|ndarray|\w+Array|ArrayLike)\b")
FIGURE = re.compile(r"\bfloat \| ")
BESIDE = r"^ +{0}: [^#\n]*  # |^ +# .*\n(?: +\w+: [^#\n]+\n)* +{0}: "
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


def arrays_of(name: str) -> set[str]:
    """
    Name what something takes as an array, whose shape and unit no signature holds.

    A number has its unit in its name (test_names.py), as has an array that broadcasts with numbers.
    A field of a dataclass has its words in a comment: beside it, or above it and its like.
    """
    module, _, own = name.rpartition(".")
    thing = getattr(import_module(module), own)
    source = inspect.getsource(thing) if inspect.isclass(thing) else ""
    return {
        each.name
        for each in inspect.signature(thing).parameters.values()
        if ARRAYS.search(kind := str(each.annotation))
        and not FIGURE.search(kind)
        and not re.search(BESIDE.format(each.name), source, re.MULTILINE)
    }


def faults(name: str) -> list[tuple[str, str]]:
    """Say where a docstring and its signature part; what the signature says alone may be left."""
    return [
        (code, text)
        for code, text in validate(name)["errors"]
        if code not in SKIP
        and (code != "PR01" or arrays_of(name) & set(re.findall(r"'\*{0,2}(\w+)'", text)))
    ]


def test_docstrings_agree_with_the_signatures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every array has its shape and unit; what is said besides agrees with the signature."""
    # comments that silence the check are not heard; to look for them takes a third of the time
    monkeypatch.setattr("numpydoc.validate.extract_ignore_validation_comments", lambda _: {})
    names = sorted(public_names())
    # the list is not empty because of a broken walk: well-known names are in it
    assert {"linesim.forward.render.render", "linesim.setup.setup.Setup"} <= set(names)
    assert {name: found for name in names if (found := faults(name))} == {}
