"""A setup as tables, and how a page was made."""

import platform
import re
import tomllib
from collections.abc import Mapping
from importlib.metadata import version

from linesim import __version__
from linesim.report.page_parts import Listing, Section, Table, Tables, Text
from linesim.setup.infiles import starter_text
from linesim.setup.load import NO_DEFAULT
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup

_MADE_WITH = ("numpy", "scipy", "matplotlib")
_DEFAULT = "default"
_LONG = re.compile(r"\d+\.\d{6,}")
"""Numbers with the digits of a computer; the file below has them all."""
_MODEL = (
    "This is a forward model: it works out what a station with these numbers would deliver. It is "
    "no measurement of a real station, and as good as the numbers that were put in."
)
_AGAIN = "The same setup, seed and versions give the same figures and pictures again"


def plain(value: object) -> str:
    """Write a value of a setup file as people read it."""
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {plain(each)}" for key, each in value.items())
    if isinstance(value, list):
        return ", ".join(map(plain, value))
    if isinstance(value, bool):
        return "true" if value else "false"
    return _LONG.sub(lambda number: f"{float(number[0]):.6g}", str(value))


def setup_section(setup: Setup) -> Section:
    """Show every key of a setup with its value, and which of them are defaults."""
    texts, starter = (
        tomllib.loads(resolved_text(setup, setup.folder)),
        tomllib.loads(starter_text()),
    )
    tables = []
    for name, section in texts.items():
        if not isinstance(section, Mapping):
            continue
        usual = {
            key: value
            for key, value in starter[name].items()
            if key not in NO_DEFAULT.get(name, ())
        }
        rows = tuple(
            (key, plain(value), _DEFAULT if key in usual and usual[key] == value else "")
            for key, value in section.items()
        )
        if rows:
            tables.append(Table(title=name, rows=rows))
    return Section("The setup", (Tables(tables=tuple(tables)),))


def making_section(setup: Setup, command: str) -> Section:
    """Tell how a page was made, and the command that makes it again."""
    rows = (
        ("linesim", __version__),
        ("Python", platform.python_version()),
        *((name, version(name)) for name in _MADE_WITH),
        ("seed of the fixed pattern", str(setup.camera.pattern_seed)),
    )
    return Section(
        "How this was made",
        (
            Text((_MODEL, f"{_AGAIN}: {command}")),
            Table(title="Made with", rows=rows),
            Listing("The setup as a file (setup.toml)", resolved_text(setup, setup.folder)),
        ),
    )
