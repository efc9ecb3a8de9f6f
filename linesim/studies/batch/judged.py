"""Options judged in closed form: their figures, and the first demand that each misses."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.figures.demands import SLACK, Demand, demands, margin_over, margin_under
from linesim.figures.groups import (
    exposure_group,
    geometry_group,
    limits_group,
    lit_group,
    reach,
)
from linesim.figures.places import with_ends
from linesim.forward.geometry import Figure
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.stations import Way
from linesim.studies.rank.space import Limits

DEMANDS = (
    "legal_setup",
    "line_rate",
    "link",
    "exposure",
    "most_irradiance",
    "least_field_of_view",
    "least_depth_of_field",
    "saturation",
    "clipping",
    "snr",
    "smallest_defect",
)
"""
What an option must meet, in the order in which it is judged. The smallest defect comes last, at the
detection rate and the false alarms asked for: the three are one demand.
"""
PASSED = len(DEMANDS)
"""The place behind the last demand: nothing is missed."""
_OF_DETECTION = ("smallest_defect", "detection_rate", "false_alarms_per_m2")
LEAST = (
    "electrons_white",
    "snr_white",
    "snr_product",
    "snr_product_ends",
    "defect_dprime",
    "defect_dprime_ends",
)
"""Figures of which the weakest colour counts; of all others the largest."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passed:
    """
    How options stand to one demand.

    Parameters
    ----------
    name : str
        One of the demands.
    met : ndarray of bool
        Where it is reached.
    margin : ndarray
        Share by which it is passed, as a verdict has it.
    """

    name: str
    met: NDArray[np.bool_]
    margin: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """
    The options of a way; arrays have its shape, or broadcast to it.

    Parameters
    ----------
    figures : dict
        Name -> values.
    first : ndarray of int
        Place of the first demand that is missed.
    margin : ndarray
        By which share; 0 where none is missed.
    """

    figures: dict[str, FloatArray]
    first: NDArray[np.int8]
    margin: FloatArray


def kept_to(demand: Demand, figures: dict[str, FloatArray]) -> Passed:
    """Judge a demand of the setup, as its verdict does."""
    got = demand.worst(figures)
    return Passed(name=demand.requirement, met=demand.spare(got) >= 0, margin=demand.margin(got))


def judged(way: Way, limits: Limits) -> Judged:
    """
    Work out figures and judge all demands but those of detection.

    Parameters
    ----------
    way : Way
        The options.
    limits : Limits
        Of the space.

    Returns
    -------
    Judged
        Where nothing was missed, detection is still to be judged.
    """
    figures = figures_of(way)
    found = [_legal(way), *_of_limits(limits, figures), *_of_setup(way, figures)]
    return first_missed(way.shape, figures, found)


def first_missed(
    shape: tuple[int, ...], figures: dict[str, FloatArray], found: list[Passed]
) -> Judged:
    """Find the first demand that each option misses."""
    first, margin = np.full(shape, PASSED, dtype=np.int8), np.zeros(shape)
    for each in sorted(found, key=lambda each: DEMANDS.index(each.name), reverse=True):
        missed = np.broadcast_to(~each.met, shape)
        first[missed] = DEMANDS.index(each.name)
        margin[missed] = np.broadcast_to(each.margin, shape)[missed]
    return Judged(figures=figures, first=first, margin=margin)


def figures_of(way: Way) -> dict[str, FloatArray]:
    """Work out the figures of all options of a way."""
    numbers, wanted, able = way.numbers, way.wanted, reach(way.setup)
    place = numbers.geometry
    found = {
        "speed_mm_s": place.speed_mm_s,
        "area_rate_m2_s": place.speed_mm_s * place.field_of_view_mm / 1e6,
        **geometry_group(numbers, 1, able),
        **exposure_group(numbers),
        **limits_group(numbers, able, wanted.brightest),
        **with_ends(numbers, lambda at: lit_group(at, wanted.product)),
    }
    return {name: _of_colours(name, value, len(way.shape)) for name, value in found.items()}


def _of_colours(name: str, value: Figure, axes: int) -> FloatArray:
    table = np.asarray(value, dtype=np.float64)
    table = table.reshape((1,) * (axes + 1 - table.ndim) + table.shape)
    return np.asarray(table.min(axis=-1) if name in LEAST else table.max(axis=-1))


def _legal(way: Way) -> Passed:
    possible = way.possible[..., 0]
    return Passed(
        name="legal_setup", met=possible, margin=np.asarray(possible, dtype=np.float64) - 1
    )


def _of_limits(limits: Limits, figures: dict[str, FloatArray]) -> Iterator[Passed]:
    """Judge what the space limits; each where it is given."""
    for name, figure, most in (
        ("most_irradiance", "irradiance_target_w_m2", limits.most_irradiance_w_m2),
        ("saturation", "saturation_white", limits.most_saturation),
    ):
        if most is not None:
            got = figures[figure]
            met = margin_under(got, most * (1 + SLACK)) >= 0
            yield Passed(name=name, met=met, margin=margin_under(got, most))
    for name, figure, least in (
        ("least_field_of_view", "field_of_view_mm", limits.least_field_of_view_mm),
        ("least_depth_of_field", "depth_of_field_mm", limits.least_depth_of_field_mm),
    ):
        if least is not None:
            got = figures[figure]
            met = margin_over(got, least * (1 - SLACK)) >= 0
            yield Passed(name=name, met=met, margin=margin_over(got, least))


def _of_setup(way: Way, figures: dict[str, FloatArray]) -> Iterator[Passed]:
    """Judge what the setup demands, but for detection."""
    for demand in demands(way.setup):
        if demand.requirement not in _OF_DETECTION:
            yield kept_to(demand, figures)
