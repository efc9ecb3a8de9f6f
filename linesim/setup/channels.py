"""Values that a colour camera has one of for each colour, and lists of row heights."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

from linesim.setup.errors import InputError
from linesim.setup.fields import Kind
from linesim.setup.kinds import EfficiencyCurve, EfficiencyKind
from linesim.setup.sheet.points import is_point
from linesim.setup.shown import shown
from linesim.setup.vocabulary import PITCH

COLOURS = ("red", "green", "blue")
_EFFICIENCY = EfficiencyKind(what="a number from 0 to 1 or a CSV file", example="0.6")
Value = TypeVar("Value")


class ByChannel(NamedTuple, Generic[Value]):
    """One value a colour."""

    red: Value
    green: Value
    blue: Value


def by_channel(value: dict[str, object], each: Kind, folder: Path) -> ByChannel[Any]:
    """Read a table with one value a colour."""
    faults = [
        f".{key}: read {shown(value[key])}, but there is no such colour; known here are red, "
        "green, blue"
        for key in value
        if key not in COLOURS
    ]
    found = []
    for colour in COLOURS:
        if colour not in value:
            faults.append(
                f".{colour}: nothing was read, but this colour is needed, for example "
                f"{each.example}"
            )
            continue
        try:
            found.append(each.checked(value[colour], folder))
        except InputError as fault:
            faults += [f".{colour}{'' if told[:1] == '.' else ': '}{told}" for told in fault.faults]
        except ValueError as fault:
            faults.append(f".{colour}: {fault}")
    if faults:
        raise InputError(*faults)
    return ByChannel(*found)


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

    def read(
        self, value: object, folder: Path
    ) -> float | EfficiencyCurve | ByChannel[float | EfficiencyCurve]:
        """Take the one value, or the table."""
        if isinstance(value, dict) and not is_point(value):
            return by_channel(value, _EFFICIENCY, folder)
        return _EFFICIENCY.read(value, folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightsKind(Kind):
    """A list of heights, one a row."""

    def read(self, value: object, folder: Path) -> tuple[float, ...]:
        """Read each height."""
        if not isinstance(value, list) or not value:
            msg = "this is no list of heights"
            raise ValueError(msg)
        return tuple(float(PITCH.read(each, folder)) for each in value)


@dataclass(frozen=True, slots=True, kw_only=True)
class PairKind(Kind):
    """Two lengths, across and along."""

    each: Kind

    def read(self, value: object, folder: Path) -> tuple[float, float]:
        """Read both."""
        if not isinstance(value, list) or len(value) != 2:  # noqa: PLR2004 -- across and along
            msg = "this is no list of two lengths"
            raise ValueError(msg)
        across, along = (float(self.each.read(each, folder)) for each in value)  # type: ignore[arg-type]
        return across, along


@dataclass(frozen=True, slots=True, kw_only=True)
class TableKind(Kind):
    """A table of one value a colour."""

    each: Kind

    def read(self, value: object, folder: Path) -> ByChannel[Any]:
        """Take the table."""
        if not isinstance(value, dict):
            msg = "this is no table of the colours"
            raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
        return by_channel(value, self.each, folder)
