"""What cautions are judged on."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from linesim.forward.station import Station
from linesim.setup.setup import Setup
from linesim.targets.load import TargetSize

Value = Any
"""A number, a name, or a dict of one number a colour."""
Groups = Mapping[str, Mapping[str, Value]]
Found = Iterator[tuple[str, str]]
"""Codes and texts."""


def values(value: Value) -> list[float]:
    """Give a figure's values, one or one a colour."""
    return list(value.values()) if isinstance(value, dict) else [float(value)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What a caution is judged on."""

    setup: Setup
    numbers: Station
    groups: Groups
    size: TargetSize

    def figure(self, group: str, name: str) -> float:
        """One figure; of several colours the largest."""
        return max(values(self.groups[group][name]))

    def least(self, group: str, name: str) -> float:
        """One figure; of several colours the smallest."""
        return min(values(self.groups[group][name]))
