"""
Ranges of a key of the setup file, as the user writes them.

``light.illuminance=5klx:200klx:log12`` is start, stop, and how many values there are in equal
ratios (log) or equal steps (lin), ends included; or a list with commas.

A value of a range need not be checked by itself. Ends and listed values are read by the
key's own kind, and a kind's physical range is an interval, so what lies between two legal ends is
legal. What keys demand of one another is checked at every value by `linesim.studies.batch.along`.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from linesim.setup.arguments import refuse_other
from linesim.setup.errors import refuse
from linesim.setup.light.ambient import Ambient
from linesim.setup.quantity import parse_percent, parse_quantity
from linesim.setup.setup import Setup
from linesim.setup.sheet.names import plain_name
from linesim.setup.shown import shown
from linesim.studies.batch.range_keys import NumericKey, numeric_key

MOST_POINTS = 100_000
"""Points of one study; our choice."""
MOST_KEYS = 2
_SYNTAX = "START:STOP:log12, START:STOP:lin12 or a list with commas"
_EXAMPLE = "light.illuminance=5klx:200klx:log12"
_RANGE = re.compile(r"([^:]*):([^:]*):\s*(log|lin)([0-9]{1,9})\s*")


Value = TypeVar("Value")


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """Values of one key."""

    key: NumericKey
    # as the user wrote it, and as a checked setup has it; both empty for a bare number
    unit: str
    base_unit: str
    ratio: float  # the user's unit over that of a checked setup
    base_values: tuple[float, ...]  # rising, in the unit of a checked setup
    log: bool  # whether they are spread in equal ratios

    @property
    def values(self) -> tuple[float, ...]:
        """The values in the user's unit."""
        return tuple(self.shown(value) for value in self.base_values)

    @property
    def name(self) -> str:
        """Key and unit, for heads of columns and axes."""
        return f"{self.key.dotted} [{self.unit}]" if self.unit else self.key.dotted

    def shown(self, value: float) -> float:
        """Turn a value of a checked setup into the user's unit."""
        return value / self.ratio if self.unit else self.whole(value)

    def whole(self, value: float) -> float:
        """Give a whole number as one where the key takes no others."""
        return int(value) if self.key.whole else float(value)

    def inside(self, value: float) -> object:
        """Give the value that a checked setup has."""
        if self.key.field != "ambient":
            return self.whole(value)
        return Ambient(value, 0.0) if self.base_unit == "lx" else Ambient(0.0, value)

    def written(self, value: float) -> object:
        """Give a value as it would stand in the setup file; it is read back exactly."""
        if self.base_unit:
            return f"{float(value)!r} {self.base_unit}"
        return self.inside(value)

    def said(self, value: float) -> str:
        """Say a value of a checked setup in the user's unit: to three digits, a whole one whole."""
        if self.key.whole and not self.unit:
            return f"{round(value)}"
        return f"{short(value / self.ratio)} {self.unit}".strip()


def short(number: float) -> str:
    """Say a number to three digits, without a power of ten."""
    return np.format_float_positional(float(f"{number:.3g}"), trim="-")


def evenly(values: Sequence[Value], most: int) -> list[Value]:
    """Choose values evenly among many, both ends included; all where they are few."""
    count = len(values)
    chosen = np.rint(np.linspace(0, count - 1, min(count, most))).astype(int)
    return [values[k] for k in chosen]


def split_ranges(words: Sequence[str]) -> dict[str, str]:
    """Take words such as ``key=range`` apart."""
    found: dict[str, str] = {}
    for word in words:
        key, mark, text = (part.strip() for part in word.partition("="))
        if not mark:
            refuse(f"range: read {shown(word)}, but expected KEY={_SYNTAX}, such as {_EXAMPLE}")
        if key in found:
            refuse(f"{key}: read two ranges of this key; expected one")
        found[key] = text
    return found


def ranges_of(setup: Setup, texts: Mapping[str, str]) -> tuple[Range, ...]:
    """Read ranges."""
    if not 0 < len(texts) <= MOST_KEYS:
        read = f"read {len(texts)} keys" if texts else "nothing was read"
        refuse(f"range: {read}, but one key or two can be varied; expected such as {_EXAMPLE}")
    found = tuple(_range(setup, key, text) for key, text in texts.items())
    points = int(np.prod([len(each.base_values) for each in found]))
    if points > MOST_POINTS:
        refuse(f"range: read {points} points; expected at most {MOST_POINTS}")
    return found


def _range(setup: Setup, dotted: str, text: str) -> Range:
    refuse_other(text, str, dotted, _SYNTAX)
    dotted = plain_name(dotted)
    key, match = numeric_key(setup, dotted, text), _RANGE.fullmatch(text)
    if match is None and ":" in text:
        refuse(f"{dotted}: read {shown(text)}, but this is no range; expected {_SYNTAX}")
    ends = [part.strip() for part in (match.groups()[:2] if match else text.split(","))]
    numbers = [key.read(end, setup) for end in ends]
    units = {key.base_unit_of(end) for end in ends}
    if len(units) > 1:
        refuse(f"{dotted}: read {shown(text)}, but these are units of two kinds; expected one kind")
    base_unit = units.pop()
    unit, ratio = _scale(key.unit_of(ends[0]), base_unit)
    if match is None:
        values, log = sorted(set(numbers)), _in_ratios(numbers)
    else:
        values, log = _spread(key, text, sorted(numbers), (match[3], int(match[4])))
    return Range(
        key=key, unit=unit, base_unit=base_unit, ratio=ratio, base_values=tuple(values), log=log
    )


def _scale(unit: str, base_unit: str) -> tuple[str, float]:
    """Give the unit to show values in, and its size; a checked setup's where it is no scale."""
    if not unit:
        return "", 1.0
    try:
        return unit, parse_percent(f"1 {unit}") if not base_unit else parse_quantity(
            f"1 {unit}", base_unit
        )
    except ValueError:  # a reciprocal, a level, or numbers that the gain makes electrons
        return base_unit, 1.0


def _spread(
    key: NumericKey, text: str, ends: list[float], spacing: tuple[str, int]
) -> tuple[list[float], bool]:
    """Lay values between two ends, both included; of whole numbers, each once."""
    (low, high), (kind, count) = ends, spacing
    fault = _fault(key, ends, spacing)
    if fault:
        refuse(f"{key.dotted}: read {shown(text)}, but {fault}")
    between = np.geomspace if kind == "log" else np.linspace
    values = np.concatenate([[low], between(low, high, count)[1:-1], [high]])
    if key.whole:
        return [int(value) for value in np.unique(np.rint(values))], kind == "log"
    return values.tolist(), kind == "log"


def _fault(key: NumericKey, ends: list[float], spacing: tuple[str, int]) -> str:
    """Say what is wrong with a range of two legal ends; nothing where it is fine."""
    (low, high), (kind, count) = ends, spacing
    rules = (
        (key.listed, f"nothing lies between; expected a list with commas, of {key.kind.what}"),
        (low == high, "start and stop are equal; expected two values"),
        (count < len(ends), "that is fewer values than ends; expected at least 2"),
        (count > MOST_POINTS, f"that is more than {MOST_POINTS} values; expected fewer"),
        (kind == "log" and low <= 0, "equal ratios need both ends above 0; expected lin, not log"),
    )
    return next((fault for broken, fault in rules if broken), "")


def _in_ratios(values: list[float]) -> bool:
    """Tell whether listed values lie more evenly by their ratios than by their differences."""
    steps = np.array(sorted(set(values)), dtype=np.float64)
    if len(steps) < 3 or steps[0] <= 0:  # noqa: PLR2004 -- two differences to compare
        return False
    ratios, differences = np.diff(np.log(steps)), np.diff(steps)
    return bool(np.ptp(ratios) / ratios.mean() < np.ptp(differences) / differences.mean())
