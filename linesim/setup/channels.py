"""Values that a colour camera has one of for each colour, and lists of row heights."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

from linesim.setup.fields import Kind, Parsed, Quantity
from linesim.setup.kinds import EFFICIENCY
from linesim.setup.product import read_table
from linesim.setup.sheet.points import is_point
from linesim.setup.vocabulary import PITCH

COLOURS = ("red", "green", "blue")
Value = TypeVar("Value")


class ByChannel(NamedTuple, Generic[Value]):
    """One value a colour."""

    red: Value
    green: Value
    blue: Value


def by_channel(value: dict[str, object], each: Kind, folder: Path) -> ByChannel[Any]:
    """Read a table with one value a colour."""
    return ByChannel(**read_table(value, dict.fromkeys(COLOURS, each), folder, name="colour"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ByChannelKind(Kind):
    """One value for all colours, or a table of one a colour."""

    each: Kind

    def read(self, value: object, folder: Path) -> object:
        """Take the one value, or the table."""
        if isinstance(value, dict):
            return by_channel(value, self.each, folder)
        return self.each.read(value, folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnEfficiencyKind(Kind):
    """A number or a CSV file for all colours, or a table of one a colour."""

    def read(self, value: object, folder: Path) -> object:
        """Take the one value, or the table."""
        if isinstance(value, dict) and not is_point(value):
            return by_channel(value, EFFICIENCY, folder)
        return EFFICIENCY.read(value, folder)


def read_heights(value: object, folder: Path) -> tuple[float, ...]:
    """Read a list of heights, one a row."""
    if not isinstance(value, list) or not value:
        msg = "this is no list of heights"
        raise ValueError(msg)
    return tuple(float(PITCH.read(each, folder)) for each in value)


_OFF = Quantity("a length at the sensor", '"0.5 um"', unit="um", low=-1e3, high=1e3)


def _read_pair(value: object, folder: Path) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:  # noqa: PLR2004 -- across and along
        msg = "this is no list of two lengths"
        raise ValueError(msg)
    across, along = (float(_OFF.read(each, folder)) for each in value)
    return across, along


_PAIR = Parsed("two lengths, across and along", '["0.5 um", "0 um"]', by=_read_pair)


def read_registration(value: object, folder: Path) -> ByChannel[tuple[float, float]]:
    """Read how far each colour's sensor is off its place."""
    if not isinstance(value, dict):
        msg = "this is no table of the colours"
        raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
    return by_channel(value, _PAIR, folder)
