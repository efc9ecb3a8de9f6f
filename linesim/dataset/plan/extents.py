"""How much of a scene the images of a plan take, at the ends of all ranges."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from linesim.dataset.plan.spans import Span
from linesim.forward.station import station
from linesim.forward.transport import first_line_um
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup

_MOST_VALUES = 32
"""Of a list, evenly chosen with both ends."""


def field_mm(setup: Setup) -> float:
    """Give the width that a station scans. [mm]."""
    return float(station(setup).geometry.field_of_view_mm)


def length_mm(setup: Setup) -> float:
    """Give the length from the leading edge to the last line. [mm]."""
    numbers = station(setup)
    first_mm = first_line_um(setup, numbers) / 1000
    if setup.acquisition.length_mm is not None:
        return setup.acquisition.length_mm + first_mm
    lines_um = (setup.acquisition.lines or 1) * float(numbers.timing.line_advance_um)
    return lines_um / 1000 + first_mm


def largest(base: Setup, spans: Sequence[Span], size: Callable[[Setup], float]) -> float:
    """
    Give the largest size that a plan's stations have.

    Keys are turned to their largest one after the other: exact where a size rises or falls with
    each key whatever the others are, as those of a field of view do.
    """
    for span in spans:
        tried = list(_sizes(base, span, size))
        base = max(tried, key=lambda each: each[1])[0] if tried else base
    return size(base)


def _sizes(
    base: Setup, span: Span, size: Callable[[Setup], float]
) -> Iterator[tuple[Setup, float]]:
    for changes in _ends(span):
        try:
            setup = changed(base, changes)
            yield setup, size(setup)
        except InputError:  # no image can be drawn there
            continue


def _ends(span: Span) -> Iterator[Mapping[str, Any]]:
    points = span.axis.points
    step = max(1, -(-(len(points) - 1) // (_MOST_VALUES - 1)))
    for point in (*points[:-1:step], points[-1]):
        yield point.changes
