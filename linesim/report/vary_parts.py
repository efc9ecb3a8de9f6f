"""Parts of a range in words."""

from collections.abc import Sequence

from linesim.report.vary_labels import value_words
from linesim.study.crossing import Span
from linesim.study.ranges import Range

EXPOSURES = {
    "same": "At the same exposure time",
    "full": "With full exposure, each at its own line rate",
}
"""Whose exposure time ways of binning take."""


def part_words(over: Range, span: Span) -> str:
    """
    Say one part of a range.

    Parameters
    ----------
    over : Range
        The range.
    span : Span
        The part.

    Returns
    -------
    str
        Such as "from 0.8 klx to 11 klx" or "from 18.5 klx on".
    """
    low, high = value_words(over, span.low), value_words(over, span.high)
    if span.begins and span.ends:
        return f"at {low} alone" if low == high else f"from {low} to {high}"
    if not span.begins and not span.ends:
        return f"over the whole range, {low} to {high}"
    return f"from {low} on" if span.begins else f"up to {high}"


def parts_words(over: Range, spans: Sequence[Span]) -> str:
    """
    Say parts of a range.

    Parameters
    ----------
    over : Range
        The range.
    spans : sequence of Span
        The parts, rising.

    Returns
    -------
    str
        One behind the other.
    """
    return " and ".join(part_words(over, span) for span in spans)
