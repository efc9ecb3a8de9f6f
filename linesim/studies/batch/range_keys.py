"""Keys of the setup file that are numbers: where a checked setup has each, how it is read."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from linesim.setup.channels import ByChannelKind, OwnEfficiencyKind
from linesim.setup.errors import InputError, refuse
from linesim.setup.fields import Choice, Kind, Number, Quantity
from linesim.setup.lens.over_field import OverFieldKind
from linesim.setup.light.ambient import Ambient, AmbientKind
from linesim.setup.load import changed, known_keys
from linesim.setup.model import Sections
from linesim.setup.quantity import parse_quantity
from linesim.setup.setup import Setup
from linesim.setup.sheet.stated import InNumbers, TNumber
from linesim.setup.shown import shown

_UNIT = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*(.*)")
_WHOLE = re.compile(r"[+-]?[0-9]+")
_LUX, _WATTS = "lx", "W/m^2"
_NUMERIC = (Quantity, Number, AmbientKind, ByChannelKind, OwnEfficiencyKind, OverFieldKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class NumericKey:
    """A key that takes a number."""

    dotted: str
    section: str
    field: str
    kind: Kind

    @property
    def number(self) -> Kind:
        """Kind of one number, where the key also takes several."""
        if isinstance(self.kind, ByChannelKind | OverFieldKind):
            return self.kind.each
        return self.kind

    @property
    def whole(self) -> bool:
        """Whether it takes whole numbers only."""
        return self.listed or (isinstance(self.kind, Number) and self.kind.whole)

    @property
    def listed(self) -> bool:
        """Whether it takes a few values and nothing between them, as bit depths."""
        return isinstance(self.kind, Choice)

    def read(self, text: str, setup: Setup) -> float:
        """Read one value, with the rest of the setup where it hangs on that."""
        unit_due = isinstance(self.kind, AmbientKind) or (
            isinstance(self.number, Quantity) and not self.number.bare
        )
        value = text if unit_due else _bare(text)
        try:
            found = self.kind.checked(value, Path())
        except ValueError as fault:
            faults = fault.faults if isinstance(fault, InputError) else (str(fault),)
            raise InputError(*(f"{self.dotted}: {each}" for each in faults)) from None
        if isinstance(found, Ambient):
            return max(found)
        if isinstance(found, InNumbers | TNumber):
            found = getattr(getattr(changed(setup, {self.dotted: text}), self.section), self.field)
        if not isinstance(found, int | float):
            refuse(f"{self.dotted}: read {shown(text)}, but a range takes numbers alone")
        return found

    def unit_of(self, text: str) -> str:
        """Take the unit off a value that was read; empty for a bare number."""
        match = _UNIT.fullmatch(text.strip())
        return match[1] if match else ""

    def base_unit_of(self, text: str) -> str:
        """Name the unit in a checked setup for a value that was read; empty for a bare number."""
        if isinstance(self.number, Quantity):
            return self.number.unit
        if not isinstance(self.kind, AmbientKind):
            return ""
        try:
            parse_quantity(text, _LUX)
        except ValueError:
            return _WATTS
        return _LUX


def numeric_key(setup: Setup, dotted: str, text: str) -> NumericKey:
    """Find a key that takes a number."""
    section, _, key = dotted.partition(".")
    if key not in known_keys((section,)):
        changed(setup, {dotted: text})  # refuses it, and says which key may be meant
    kind, field = _kind(section, key) if key else (None, "")
    numeric = isinstance(kind, _NUMERIC) or (
        isinstance(kind, Choice) and all(isinstance(each, int) for each in kind.allowed)
    )
    if kind is None or not numeric:
        takes = kind.what if kind else "a text"
        refuse(
            f"{dotted}: read {shown(text)}, but this key takes {takes}, which has no range; "
            "expected a key that takes a number, such as light.illuminance"
        )
    return NumericKey(dotted=dotted, section=section, field=field, kind=kind)


def _kind(section: str, key: str) -> tuple[Kind | None, str]:
    """Find the kind of a key, and its name in a checked setup."""
    model = Sections.model_fields[section].annotation
    fields = getattr(model, "model_fields", {})
    name = next(name for name, field in fields.items() if (field.alias or name) == key)
    inner = [extra for part in get_args(fields[name].annotation) for extra in get_args(part)]
    kinds = [each for each in (*fields[name].metadata, *inner) if isinstance(each, Kind)]
    return (kinds[0] if kinds else None), name


def _bare(text: str) -> object:
    """Read a bare number as TOML would; what is none stays a text, and is refused as one."""
    if _WHOLE.fullmatch(text):
        return int(text)
    match = _UNIT.fullmatch(text)
    return float(text) if match and not match[1] else text
