"""Parts of a range in words."""

from collections.abc import Sequence

from linesim.studies.batch.ranges import Range
from linesim.studies.vary.crossing import Span
from linesim.studies.vary.labels import value_words

EXPOSURES = {
    "same": "At the same exposure time",
    "full": "With full exposure, each at its own line rate",
}
"""Whose exposure time binnings take."""


def part_words(over: Range, span: Span) -> str:
    """Say one part of a range."""
    low, high = value_words(over, span.low), value_words(over, span.high)
    if span.begins and span.ends:
        return f"at {low} alone" if low == high else f"from {low} to {high}"
    if not span.begins and not span.ends:
        return f"over the whole range, {low} to {high}"
    return f"from {low} on" if span.begins else f"up to {high}"


def parts_words(over: Range, spans: Sequence[Span]) -> str:
    """Say parts of a range."""
    return " and ".join(part_words(over, span) for span in spans)
