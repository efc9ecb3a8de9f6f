"""Which demands judge the points of a range, and which colour and place decides."""

from collections.abc import Collection, Mapping

import numpy as np

from linesim.figures.demands import Demand, demands
from linesim.figures.groups import ENDS
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

_LOW_IS_GOOD = (
    "clipping_share",
    "dark_e",
    "dark_noise_e",
    "exposure_share",
    "false_alarms_per_m2",
    "line_rate_share",
    "link_share",
    "motion_blur_px",
    "motion_blur_um",
    "noise_white_e",
    "rose_diameter_um",
    "saturation_white",
    "smallest_detectable_um",
    "smallest_width_um",
    "texture_share",
    "threshold_e",
)
LOW_IS_GOOD = frozenset({*_LOW_IS_GOOD, *(name + ENDS for name in _LOW_IS_GOOD)})
"""Figures of which the largest colour is the weakest; of others it is the smallest."""
LIMIT = "clipping_share"
"""The figure that says how near the brightest part of the target is to the nearest limit, 1."""
ALWAYS = ("line_rate", "link", "exposure", "clipping")
"""What is judged without being asked for."""


def demands_of(setup: Setup, varied: Collection[str] = ()) -> tuple[Demand, ...]:
    """
    List what points are judged by.

    Parameters
    ----------
    setup : Setup
        The station.
    varied : collection of str
        Dotted keys that do not stay; a requirement that is varied itself is left out.

    Returns
    -------
    tuple of Demand
        As the verdicts of the budget judge them; what is asked for, then what always is.
    """
    found = [each for each in demands(setup) if f"requirement.{each.requirement}" not in varied]
    asked = [each for each in found if each.requirement not in ALWAYS]
    return (*asked, *(each for each in found if each.requirement in ALWAYS))


def asked_of(judged_by: Collection[Demand]) -> tuple[Demand, ...]:
    """
    Leave the requirements of the setup.

    Parameters
    ----------
    judged_by : collection of Demand
        All that is judged.

    Returns
    -------
    tuple of Demand
        Without what is always judged.
    """
    return tuple(each for each in judged_by if each.requirement not in ALWAYS)


def weakest(figure: str, values: FloatArray) -> FloatArray:
    """
    Give the weakest of several colours.

    Parameters
    ----------
    figure : str
        Name of the figure.
    values : ndarray of shape (..., colours)
        Its values.

    Returns
    -------
    ndarray of shape (...)
        The largest where low is good, else the smallest; no number where a colour has none.
    """
    return np.asarray(values.max(axis=-1) if figure in LOW_IS_GOOD else values.min(axis=-1))


def worst_of(demand: Demand, figures: Mapping[str, FloatArray]) -> FloatArray:
    """
    Give what decides about a demand.

    Parameters
    ----------
    demand : Demand
        What is judged.
    figures : mapping
        Figure -> array of shape (..., colours), those of the demand among them.

    Returns
    -------
    ndarray of shape (...)
        Of the weakest colour at the worst place.
    """
    return demand.worst({name: weakest(name, figures[name]) for name in demand.figures})
