"""Cautions about eyes, skin, heat and machines for all lights that a plan may draw."""

from collections.abc import Iterator, Mapping
from itertools import product
from typing import Any

from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.spans import Span
from linesim.figures.safety import STROBE_HZ, Shared, shared_cautions
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup

_MOST_VALUES = 12
"""Of a list of lights, evenly chosen with both ends."""
_FLICKER = "light.flicker_frequency"


def plan_people(plan: Plan) -> tuple[Shared, ...]:
    """
    Find what to mind about the light at both ends of a plan's ranges, and all of their corners.

    One a code is given; titles are the values of the light that is varied.
    """
    return shared_cautions(_corners(plan))


def _corners(plan: Plan) -> Iterator[tuple[str, Setup]]:
    lights = [span for span in plan.spans if span.name.startswith("light.")]
    for corner in product(*(list(_values(span)) for span in lights)):
        changes = {key: value for _, values in corner for key, value in values.items()}
        try:
            setup = changed(plan.base, changes)
        except InputError:  # no image can be drawn there
            continue
        # several values are told apart by their keys
        names = [f"{span.name.partition('.')[2]} " if lights[1:] else "" for span in lights]
        labels = (label for label, _ in corner)
        yield " and ".join(map("".join, zip(names, labels, strict=True))), setup


def _values(span: Span) -> Iterator[tuple[str, Mapping[str, Any]]]:
    points = span.axis.points
    step = max(1, -(-(len(points) - 1) // (_MOST_VALUES - 1)))
    for point in (*points[:-1:step], points[-1]):
        yield point.label, point.changes
    if span.between is not None and span.name == _FLICKER:
        low_hz, high_hz = span.between.base_values[0], span.between.base_values[-1]
        for flash_hz in STROBE_HZ:  # seen to flash though neither end may be
            if low_hz < flash_hz < high_hz:
                yield f"{flash_hz:g} Hz", {span.name: span.between.written(flash_hz)}
