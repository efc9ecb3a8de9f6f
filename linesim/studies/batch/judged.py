"""Options judged by their figures: which demands there are, and the first that each misses."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.figures.demands import Demand, demands
from linesim.figures.groups import ENDS
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

DEMANDS = (
    "legal_setup",
    "line_rate",
    "link",
    "pulse_rate",
    "exposure",
    "most_irradiance",
    "least_field_of_view",
    "least_depth_of_field",
    "limits",
    "saturation",
    "clipping",
    "snr",
    "smallest_defect",
)
"""
What an option must meet, in the order in which it is judged. The smallest defect comes last, at the
detection rate and the false alarms asked for: the three are one demand.
"""
LIMITS = ("most_", "least_")
"""How limits on any figure begin; all that are not named among the demands are judged as one."""
PASSED = len(DEMANDS)
"""The place behind the last demand: nothing is missed."""
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
    "pulse_rate_share",
    "noise_white_e",
    "rose_diameter_um",
    "saturation_white",
    "smallest_detectable_um",
    "smallest_width_um",
    "smallest_relief_um",
    "texture_share",
    "threshold_e",
)
LOW_IS_GOOD = frozenset({*_LOW_IS_GOOD, *(name + ENDS for name in _LOW_IS_GOOD)})
"""Figures of which the largest colour is the weakest; of others it is the smallest."""
LIMIT = "clipping_share"
"""The figure that says how near the brightest part of the target is to the nearest limit, 1."""
ALWAYS = ("line_rate", "link", "pulse_rate", "exposure", "clipping")
"""What is judged without being asked for."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """How options stand to demands."""

    first: NDArray[np.int8]  # place in ``DEMANDS`` of the first that is missed
    margin: FloatArray  # by which share; 0 where none is missed


def demands_of(setup: Setup, varied: Collection[str] = ()) -> tuple[Demand, ...]:
    """
    List what points are judged by: what is asked for, then what always is.

    A requirement that is varied itself, by its dotted key, is left out.
    """
    found = [each for each in demands(setup) if f"requirement.{each.requirement}" not in varied]
    asked = [each for each in found if each.requirement not in ALWAYS]
    return (*asked, *(each for each in found if each.requirement in ALWAYS))


def asked_of(judged_by: Collection[Demand]) -> tuple[Demand, ...]:
    """Leave the requirements of the setup, without what is always judged."""
    return tuple(each for each in judged_by if each.requirement not in ALWAYS)


def weakest(figure: str, values: FloatArray) -> FloatArray:
    """
    Give the weakest of several colours, the largest where low is good; nan where one has none.

    Parameters
    ----------
    values : ndarray of shape (..., colours)
    """
    return np.asarray(values.max(axis=-1) if figure in LOW_IS_GOOD else values.min(axis=-1))


def worst_of(demand: Demand, figures: Mapping[str, FloatArray]) -> FloatArray:
    """
    Give what decides about a demand: the weakest colour at the worst place, shape (...).

    Parameters
    ----------
    figures : mapping; figure -> array of shape (..., colours), those of the demand among them
    """
    return demand.worst({name: weakest(name, figures[name]) for name in demand.figures})


def place_of(requirement: str) -> int:
    """Give the place among the demands at which a requirement is judged."""
    limit = requirement not in DEMANDS and requirement.startswith(LIMITS)
    return DEMANDS.index("limits" if limit else requirement)


def judged(
    figures: Mapping[str, FloatArray], asked: Collection[Demand], possible: NDArray[np.bool_]
) -> Judged:
    """
    Find the first demand that each option misses.

    Parameters
    ----------
    figures : mapping; figure -> array of shape (n, colours), those of the demands among them
    asked : collection of Demand; each named in ``DEMANDS``
    possible : ndarray of bool, shape (n,); which options are legal setups
    """
    first, margin = np.full(possible.shape, PASSED, dtype=np.int8), np.zeros(possible.shape)
    for demand in sorted(asked, key=lambda each: -place_of(each.requirement)):
        got = worst_of(demand, figures)
        missed = demand.spare(got) < 0
        first[missed] = place_of(demand.requirement)
        margin[missed] = demand.margin(got)[missed]
    return Judged(
        first=np.where(possible, first, np.int8(0)), margin=np.where(possible, margin, -1.0)
    )
