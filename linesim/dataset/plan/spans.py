"""
What a set varies: keys of the setup, each with the values that an image may take.

As everywhere in linesim, ``START:STOP:log12`` is twelve values in equal ratios (or ``lin12`` in
equal steps), and a list names values; each is equally likely. ``START:STOP`` draws anywhere
between, all steps equally likely, and ``START:STOP:log`` all ratios.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from linesim.defects.ranges import Range as Drawn
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.studies.batch.axis_texts import axes_of, flat_keys
from linesim.studies.batch.ranges import Range, ranges_of
from linesim.studies.batch.space import Axis

_BETWEEN = re.compile(r"([^:]*):([^:]*)(?::\s*(log|lin)\s*)?")
_AS_WRITTEN = re.compile(r':(?:lin|log)2"')
_NOT_HERE = ("title", "target", "requirement")


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """One key and its values."""

    axis: Axis
    between: Range | None = None
    log: bool = False

    @property
    def name(self) -> str:
        """Its key."""
        return self.axis.name

    def drawn(self, random: np.random.Generator) -> dict[str, Any]:
        """Draw a value."""
        points = self.axis.points
        if self.between is None:
            return dict(points[int(random.random() * len(points))].changes)
        ends = self.between.base_values
        # a whole number stands for all that begins with it, so that the last has its share too
        low, high = float(ends[0]), float(ends[-1]) + (1 if self.between.key.whole else 0)
        number = Drawn(low=low, high=high, even_ratios=self.log).drawn(random)
        kept = min(int(number), int(ends[-1])) if self.between.key.whole else number
        return {**points[0].changes, self.name: self.between.written(kept)}


def spans_of(table: object, base: Setup) -> tuple[tuple[Span, ...], tuple[str, ...]]:
    """Read what is varied."""
    if not isinstance(table, Mapping):
        return (), (f"vary: read {shown(table)}, but expected [vary] and its keys",)
    written = flat_keys(table)
    faults = [fault for key, value in written.items() for fault in _misplaced(key, value)]
    if faults:
        return (), tuple(faults)
    two_ends = {key: _two_ends(value) for key, value in written.items()}
    ends = {key: pair[0] if pair else written[key] for key, pair in two_ends.items()}
    found = axes_of(ends, {}, base)
    if found.faults:
        named = (fault.replace("options", "vary", 1) for fault in found.faults)
        return (), tuple(_AS_WRITTEN.sub('"', fault) for fault in named)
    return tuple(_span(axis, two_ends[axis.name], base) for axis in found.axes), ()


def _misplaced(key: str, value: object) -> Iterator[str]:
    section = key.partition(".")[0]
    if "." not in key or section in _NOT_HERE:
        yield (
            f"vary.{key}: read {shown(value)}, but a set varies keys of the station; expected a "
            "key such as light.illuminance"
        )
    if key in {"acquisition.lines", "acquisition.length"}:
        yield f"vary.{key}: read {shown(value)}, but all images are of one length; see [images]"


def _two_ends(value: object) -> tuple[str, bool] | None:
    """Turn a range without a number of values into one of its two ends."""
    match = _BETWEEN.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return None
    spacing = match[3] or "lin"
    return f"{match[1]}:{match[2]}:{spacing}2", spacing == "log"


def _span(axis: Axis, two_ends: tuple[str, bool] | None, base: Setup) -> Span:
    if two_ends is None:
        return Span(axis=axis)
    (between,) = ranges_of(base, {axis.name: two_ends[0]})
    if between.key.listed:
        refuse(
            f"vary.{axis.name}: read {shown(two_ends[0])}, but nothing lies between; expected a "
            f"list of {between.key.kind.what}"
        )
    return Span(axis=axis, between=between, log=two_ends[1])
