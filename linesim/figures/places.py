"""Figures in the middle of the line and at its ends, where the light is least."""

from collections.abc import Callable

import numpy as np

from linesim.figures.groups import ENDS, Group
from linesim.forward.station import Station

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
    }
)
"""Figures that are given for both."""


def with_ends(numbers: Station, group_of: Callable[[Station], Group]) -> Group:
    """
    Work a group out for the middle of the line, and what counts of it for the ends.

    Parameters
    ----------
    numbers : Station
        The station.
    group_of : callable
        Gives the group of a station.

    Returns
    -------
    dict
        Figures by name; those of the ends have ``_ends`` behind it.
    """
    middle = group_of(numbers)
    # evenly lit, the ends are the middle: not worked out again
    even = bool(np.all(np.asarray(numbers.ends) == 1))
    ends = middle if even else group_of(numbers.at_ends)
    return {**middle, **{name + ENDS: ends[name] for name in ends if name in OF_PLACE}}


def worst_place(middle: float, ends: float, *, even: bool, low_is_good: bool) -> tuple[float, str]:
    """Choose the place that decides."""
    if even:
        return middle, "line"
    ends_decide = ends >= middle if low_is_good else ends <= middle
    return (ends, "ends") if ends_decide else (middle, "middle")
