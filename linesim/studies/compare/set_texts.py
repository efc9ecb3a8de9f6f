"""Changed keys of a setup in one line of text, as they are typed on a command line."""

import re
import tomllib
from typing import Any

from linesim.setup.errors import refuse
from linesim.setup.load import known_keys
from linesim.setup.sheet.names import plain_name
from linesim.setup.shown import shown

_OUTSIDE_QUOTES = r';(?=(?:[^"]*"[^"]*")*[^"]*$)'
_EXAMPLE = '"light.illuminance=20 klx; lens.f_number=2.8"'


def changes_of(text: str, option: str = "set") -> dict[str, Any]:
    """Read changed keys out of one line of text."""
    changes: dict[str, Any] = {}
    for pair in re.split(_OUTSIDE_QUOTES, text):
        dotted, sign, value = (part.strip() for part in pair.partition("="))
        fault = _fault(dotted, sign, value, changes)
        if fault:
            refuse(
                f"{option}: read {shown(pair.strip())}, but {fault}; expected such as {_EXAMPLE}"
            )
        changes[dotted] = _value(value) if value else None
    return changes


def changes_title(changes: dict[str, Any]) -> str:
    """Say in a few words what was changed."""
    return ", ".join(f"{key.rpartition('.')[2]} {_said(value)}" for key, value in changes.items())


def _fault(dotted: str, sign: str, value: str, before: dict[str, Any]) -> str:
    """Tell what is wrong with a pair; the setup's own check judges keys that have a value."""
    if not sign or not dotted:
        return "this is no key=value"
    if dotted in before:
        return "this key stands twice"
    section, _, name = plain_name(dotted).rpartition(".")
    if not value and name not in known_keys((section,) if section else ()):
        return "no value takes a key out, and there is no such key"
    return ""


def _value(text: str) -> object:
    """Read a value as TOML; what is none is a text as it stands."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def _said(value: object) -> str:
    if value is None:
        return "left out"
    return value if isinstance(value, str) else shown(value)
