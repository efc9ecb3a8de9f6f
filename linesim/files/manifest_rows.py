"""Frames, the light that they were taken in, and what they need of one another."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Light = Literal["irradiance_w_m2", "photons"]
Kind = Literal["flat", "dark"]
_FEWEST_FRAMES = 2
"""From which there is noise in time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One frame."""

    line: int  # of the table; 0 where there is none
    file: Path
    kind: Kind  # {"flat", "dark"}; evenly lit, or without any light
    exposure_us: float
    # in the unit of the table's column; None in the dark, or where there is no such column
    light: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Frames of one kind, exposure and light."""

    kind: Kind
    exposure_us: float
    light: float | None
    rows: tuple[Row, ...]

    @property
    def lines(self) -> str:
        """Where they stand, as a sentence has it."""
        if not self.rows[0].line:
            return f"{self.kind} frames {', '.join(row.file.name for row in self.rows)}"
        numbers = [row.line for row in self.rows]
        listed = ", ".join(map(str, numbers))
        return f"line {listed}" if len(numbers) == 1 else f"lines {listed}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """A table of frames."""

    name: str
    rows: tuple[Row, ...]  # in its order
    # {"irradiance_w_m2", "photons"} or None; the column that tells the light; None where the table
    # has neither
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


def group_faults(rows: Sequence[Row], name: str, light: Light | None) -> Iterator[str]:
    """Find what is missing in a table whose rows are all right one by one."""
    groups = grouped(tuple(rows))
    for kind in ("flat", "dark"):
        if not any(group.kind == kind for group in groups):
            yield f"{name} has no {kind} frames; expected two at least"
    for group in groups:
        if len(group.rows) < _FEWEST_FRAMES:
            yield (
                f"{name}, {group.lines}: this is the only {_named(group, light)}; expected two at "
                "least, for noise is what differs between them"
            )
    darks = {group.exposure_us for group in groups if group.kind == "dark"}
    if darks:
        yield from _without_dark(groups, darks, name)


def _named(group: Group, light: Light | None) -> str:
    unit = "W/m²" if light == "irradiance_w_m2" else "photons"
    lit = f" and {group.light:g} {unit}" if group.light is not None else ""
    return f"{group.kind} frame at {group.exposure_us:g} us{lit}"


def _without_dark(groups: tuple[Group, ...], darks: set[float], name: str) -> Iterator[str]:
    """Say once for each exposure which flats lack a dark."""
    missing = {
        group.exposure_us
        for group in groups
        if group.kind == "flat" and group.exposure_us not in darks
    }
    for exposure_us in sorted(missing):
        lines = [
            str(row.line)
            for group in groups
            if group.kind == "flat" and group.exposure_us == exposure_us
            for row in group.rows
        ]
        yield (
            f"{name}, line{'s' * (len(lines) > 1)} {', '.join(lines)}: there are no dark frames at "
            f"{exposure_us:g} us; expected two at least, for dark signal grows with the exposure"
        )
