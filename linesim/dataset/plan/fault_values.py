"""Values of a plan's faults: sizes, strengths and numbers, as ranges to be drawn from."""

import re
from dataclasses import dataclass, field
from inspect import signature
from pathlib import Path
from typing import Any

from linesim.defects.kinds import Kind
from linesim.defects.ranges import Each, Range
from linesim.setup.fields import Number, Quantity
from linesim.setup.quantity import parse_quantity
from linesim.setup.shown import shown

_WIDE = 3
_SPAN = re.compile(r"([^:]*)(?::([^:]*)(?::\s*(log|lin)\s*)?)?")
_HOW_MANY = Number(
    what="a whole number of faults from 0", example="2", low=0, high=1000, whole=True
)
_UNITS = {"um": "um", "deg": "deg"}


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads values, and keeps what is wrong with them."""

    faults: list[str] = field(default_factory=list)

    def checked(self, where: str, kind: Number | Quantity, value: object) -> Any:  # noqa: ANN401 -- the kind's own
        """Read one value by its own kind; None where it is refused."""
        try:
            return kind.checked(value, Path())
        except ValueError as fault:
            self.faults.append(f"{where}: {fault}")
            return None


def key_of(parameter: str) -> str:
    """Take the unit off a parameter's name; in a file it stands with the value."""
    name, _, unit = parameter.rpartition("_")
    return name if unit in _UNITS else parameter


def needed_of(kind: Kind) -> tuple[str, ...]:
    """Name the parameters that a kind of fault cannot do without."""
    known = signature(kind.make).parameters
    return tuple(name for name in kind.parameters if known[name].default is known[name].empty)


def value_of(where: str, parameter: str, value: object, reader: Reader) -> Range | Each | None:
    """Read what one parameter is drawn from."""
    if not isinstance(value, list):
        return range_of(where, parameter, value, reader)
    parts = [range_of(where, parameter, each, reader) for each in value]
    found = tuple(part for part in parts if part is not None)
    if len(value) not in {1, _WIDE}:
        reader.faults.append(
            f"{where}: read {shown(value)}, but expected one value, or three for red, green and "
            "blue"
        )
        return None
    return Each(ranges=found) if len(found) == len(value) else None


def range_of(where: str, parameter: str, value: object, reader: Reader) -> Range | None:
    """Read ``LOW:HIGH``, ``LOW:HIGH:log`` or one value."""
    unit = _UNITS.get(parameter.rpartition("_")[2], "")
    match = _SPAN.fullmatch(value if isinstance(value, str) else shown(value))
    example = '"60 um:400 um:log"' if unit == "um" else '"0 deg:90 deg"' if unit else '"0.2:0.6"'
    try:
        if match is None:
            msg = "this is no range"
            raise ValueError(msg)  # noqa: TRY301 -- told as all that is wrong with it
        ends = [_number(part, unit) for part in match.groups()[:2] if part is not None]
        low, high = min(ends), max(ends)
        return Range(low=low, high=high, even_ratios=match[3] == "log")
    except ValueError as fault:
        reader.faults.append(
            f"{where}: read {shown(value)}, but {fault}; expected a range such as {example}"
        )
        return None


def _number(text: str, unit: str) -> float:
    if unit:
        return parse_quantity(text, unit)
    try:
        return float(text)
    except ValueError:
        msg = f'"{text.strip()}" is not a bare number'
        raise ValueError(msg) from None


def counts_of(where: str, value: object, reader: Reader) -> tuple[int, ...]:
    """Read how many: a number, a range of whole numbers, or a list."""
    texts = value.split(":") if isinstance(value, str) else []
    if len(texts) == 2 and all(text.strip().isdigit() for text in texts):  # noqa: PLR2004 -- two ends
        low, high = sorted(int(text) for text in texts)
        ends = [reader.checked(where, _HOW_MANY, each) for each in (low, high)]
        return tuple(range(low, high + 1)) if None not in ends else (0,)
    listed = value if isinstance(value, list) and value else [value]
    found = [reader.checked(where, _HOW_MANY, each) for each in listed]
    return tuple(each for each in found if each is not None) or (0,)
