"""Frames and the light that they were taken in."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Light = Literal["irradiance_w_m2", "photons"]
Kind = Literal["flat", "dark"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """
    One frame.

    Parameters
    ----------
    line : int
        Of the table.
    file : pathlib.Path
        The image.
    kind : {"flat", "dark"}
        Evenly lit, or without any light.
    exposure_us : float
        Exposure time. [µs]
    light : float or None
        In the unit of the table's column; None in the dark, or where there is no such column.
    """

    line: int
    file: Path
    kind: Kind
    exposure_us: float
    light: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """
    Frames of one kind, exposure and light.

    Parameters
    ----------
    kind : {"flat", "dark"}
        Of all.
    exposure_us : float
        Of all. [µs]
    light : float or None
        Of all.
    rows : tuple of Row
        The frames.
    """

    kind: Kind
    exposure_us: float
    light: float | None
    rows: tuple[Row, ...]

    @property
    def lines(self) -> str:
        """Where they stand, as a sentence has it."""
        numbers = [row.line for row in self.rows]
        listed = ", ".join(map(str, numbers))
        return f"line {listed}" if len(numbers) == 1 else f"lines {listed}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """
    A table of frames.

    Parameters
    ----------
    name : str
        Of its file.
    rows : tuple of Row
        In its order.
    light : {"irradiance_w_m2", "photons"} or None
        The column that tells the light; None where the table has neither.
    """

    name: str
    rows: tuple[Row, ...]
    light: Light | None

    @property
    def groups(self) -> tuple[Group, ...]:
        """Frames of the same kind, exposure and light, in the table's order."""
        return grouped(self.rows)


def grouped(rows: tuple[Row, ...]) -> tuple[Group, ...]:
    """Put frames of the same kind, exposure and light together."""
    found: dict[tuple[Kind, float, float | None], list[Row]] = {}
    for row in rows:
        found.setdefault((row.kind, row.exposure_us, row.light), []).append(row)
    return tuple(
        Group(kind=kind, exposure_us=exposure_us, light=light, rows=tuple(members))
        for (kind, exposure_us, light), members in found.items()
    )
