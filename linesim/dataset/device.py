"""A device for a whole set: which stations it must carry, and what a set says of it."""

from collections.abc import Iterator, Mapping
from typing import Any

from linesim.dataset.draw import drawn
from linesim.dataset.plan.plan import Plan
from linesim.setup.setup import Setup

_DECIDE = (
    "transport.skew",
    "transport.lateral_wander",
    "transport.flutter",
    "lens.",
    "camera.lag",
    "acquisition.binning",
)
"""Keys, or their beginnings, by which a device carries a station or does not."""


def stations_of(plan: Plan) -> Iterator[Setup]:
    """Give the plan's station and, where what decides is varied, those of its images."""
    yield plan.base
    if any(span.name.startswith(_DECIDE) for span in plan.spans):
        yield from (drawn(plan, index).setup for index in range(plan.count))


def device_of(set_record: Mapping[str, Any]) -> str | None:
    """Read what renders a set, out of its own file; None for numpy."""
    device = set_record.get("rendered_on", {}).get("device")
    return None if device is None else str(device)
