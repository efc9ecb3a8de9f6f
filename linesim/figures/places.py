"""Figures in the middle of the line and at its ends, where light and lens are worst."""

from collections.abc import Callable
from typing import Protocol, Self, TypeVar

import numpy as np

from linesim.figures.groups import ENDS, Group
from linesim.forward.geometry import Figure
from linesim.forward.profile import ends_share
from linesim.forward.station import Station, station
from linesim.setup.setup import Setup

OF_PLACE = frozenset(
    {
        "electrons_white",
        "snr_white",
        "electrons_product",
        "snr_product",
        "defect_cnr",
        "defect_dprime",
        "detection_rate",
        "false_alarms_per_m2",
        "smallest_detectable_um",
        "smallest_width_um",
        "smallest_relief_um",
    }
)
"""Figures that are given for both."""


class Product(Protocol):
    """What lies under the camera."""

    @property
    def ends(self) -> Figure:
        """How bright it is at the ends over that in the middle, in one light."""

    @property
    def at_ends(self) -> Self:
        """The same as it is there."""


Wanted = TypeVar("Wanted", bound=Product)


def is_even(numbers: Station, wanted: Product) -> bool:
    """Tell whether ends and middle are alike."""
    lit = np.all(np.asarray(numbers.ends) == 1) and np.all(np.asarray(wanted.ends) == 1)
    return bool(lit and numbers.even_optics)


def with_ends(
    numbers: Station, wanted: Wanted, group_of: Callable[[Station, Wanted], Group]
) -> Group:
    """Work a group out for the middle of the line, and what counts of it for its ``_ends``."""
    middle = group_of(numbers, wanted)
    # evenly lit, the ends are the middle: not worked out again
    ends = middle
    if not is_even(numbers, wanted):
        ends = group_of(numbers.at_ends, wanted.at_ends)
    return {**middle, **{name + ENDS: ends[name] for name in ends if name in OF_PLACE}}


def worst_place(middle: float, ends: float, *, even: bool, low_is_good: bool) -> tuple[float, str]:
    """Choose the place that decides."""
    if even:
        return middle, "line"
    ends_decide = ends >= middle if low_is_good else ends <= middle
    return (ends, "ends") if ends_decide else (middle, "middle")


def worst_name(setup: Setup, *, even: bool) -> str:
    """Name the worst place: "ends", "aged" (lamps at the end of their service) or "aged ends"."""
    if even or setup.light.maintenance_factor in (None, 1.0):
        return "ends"
    falls = bool(np.any(ends_share(setup) != setup.light.maintenance_factor))
    falls = falls or not station(setup).even_optics
    return "aged ends" if falls else "aged"
