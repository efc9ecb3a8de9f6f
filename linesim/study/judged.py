"""Options judged in closed form: their figures, and the first demand that each misses."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.budget.figures import exposure_group, geometry_group, signal_group
from linesim.forward.geometry import Figure
from linesim.setup.arrays import FloatArray
from linesim.setup.channels import COLOURS
from linesim.study.space import Limits
from linesim.study.stations import Way

DEMANDS = (
    "legal_setup",
    "line_rate",
    "link",
    "exposure",
    "most_irradiance",
    "least_field_of_view",
    "least_depth_of_field",
    "saturation",
    "snr",
    "smallest_defect",
)
"""
What an option must meet, in the order in which it is judged. The smallest defect comes last, at the
detection rate and the false alarms asked for: the three are one demand.
"""
PASSED = len(DEMANDS)
"""The place behind the last demand: nothing is missed."""
SLACK = 1e-9
"""Share by which a limit may be passed: rounding of a value that was meant to lie on it."""
_LARGEST_MARGIN = 1e9
_LEAST = ("electrons_white", "snr_white")
"""Figures of which the weakest colour counts; of all others the largest."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Demand:
    """
    One figure against what it must reach.

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


def at_least(name: str, got: Figure, wanted: Figure, slack: float = 0.0) -> Demand:
    """
    Judge a figure that should be large.

    Parameters
    ----------
    name : str
        Of the demand.
    got, wanted : float or ndarray
        In the same unit.
    slack : float
        Share by which it may be missed.

    Returns
    -------
    Demand
        Margin got/wanted - 1.
    """
    over, wanted = np.asarray(got), np.asarray(wanted)
    margin = np.where(wanted > 0, over / np.where(wanted > 0, wanted, 1.0) - 1, 0.0)
    return Demand(name=name, met=over >= wanted * (1 - slack), margin=margin)


def at_most(name: str, got: Figure, wanted: Figure, slack: float = 0.0) -> Demand:
    """
    Judge a figure that should be small.

    Parameters
    ----------
    name : str
        Of the demand.
    got, wanted : float or ndarray
        In the same unit.
    slack : float
        Share by which it may be missed.

    Returns
    -------
    Demand
        Margin wanted/got - 1.
    """
    over, wanted = np.asarray(got), np.asarray(wanted)
    margin = wanted / np.maximum(over, wanted / _LARGEST_MARGIN) - 1
    return Demand(name=name, met=over <= wanted * (1 + slack), margin=np.asarray(margin))


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
    demands = [*_of_camera(way, figures), *_of_limits(limits, figures), *_of_need(way, figures)]
    return first_missed(way.shape, figures, demands)


def first_missed(
    shape: tuple[int, ...], figures: dict[str, FloatArray], demands: list[Demand]
) -> Judged:
    """
    Find the first demand that each option misses.

    Parameters
    ----------
    shape : tuple of int
        Of the options.
    figures : dict
        Name -> values.
    demands : list of Demand
        In any order.

    Returns
    -------
    Judged
        The first by the fixed order.
    """
    first, margin = np.full(shape, PASSED, dtype=np.int8), np.zeros(shape)
    for demand in sorted(demands, key=lambda each: DEMANDS.index(each.name), reverse=True):
        missed = np.broadcast_to(~demand.met, shape)
        first[missed] = DEMANDS.index(demand.name)
        margin[missed] = np.broadcast_to(demand.margin, shape)[missed]
    return Judged(figures=figures, first=first, margin=margin)


def figures_of(way: Way) -> dict[str, FloatArray]:
    """
    Work out the figures of all options of a way.

    Parameters
    ----------
    way : Way
        The options.

    Returns
    -------
    dict
        Name -> values, one an option; of several colours the one that decides.
    """
    numbers, camera = way.numbers, way.setup.camera
    place, when = numbers.geometry, numbers.timing
    found = {
        "speed_mm_s": place.speed_mm_s,
        "area_rate_m2_s": place.speed_mm_s * place.field_of_view_mm / 1e6,
        "peak_rate_hz": when.peak_rate_hz,
        "longest_exposure_us": when.longest_exposure_us,
        **geometry_group(numbers, 1, camera.bit_depth),
        **exposure_group(numbers),
        **signal_group(numbers),
    }
    found["data_rate_mb_s"] *= 1 if camera.kind == "mono" else len(COLOURS)
    return {name: _of_colours(name, value, len(way.shape)) for name, value in found.items()}


def _of_colours(name: str, value: Figure, axes: int) -> FloatArray:
    table = np.asarray(value, dtype=np.float64)
    table = table.reshape((1,) * (axes + 1 - table.ndim) + table.shape)
    return np.asarray(table.min(axis=-1) if name in _LEAST else table.max(axis=-1))


def _of_camera(way: Way, figures: dict[str, FloatArray]) -> Iterator[Demand]:
    camera, peak_hz = way.setup.camera, figures["peak_rate_hz"]
    yield at_least("legal_setup", way.possible[..., 0].astype(np.float64), 1.0)
    if camera.max_line_rate_hz is not None:
        most_hz = _of_colours("", camera.max_line_rate_hz, len(way.shape))
        yield at_most("line_rate", peak_hz, most_hz, SLACK)
    if camera.link_mb_s is not None:
        most_mb_s = _of_colours("", camera.link_mb_s, len(way.shape))
        peak = peak_hz / way.numbers.timing.lines_joined / figures["line_rate_hz"]
        yield at_most("link", figures["data_rate_mb_s"] * peak, most_mb_s, SLACK)
    longest_us = np.maximum(figures["longest_exposure_us"], 1e-9)
    yield at_most("exposure", figures["exposure_us"], longest_us, SLACK)


def _of_limits(limits: Limits, figures: dict[str, FloatArray]) -> Iterator[Demand]:
    if limits.most_irradiance_w_m2 is not None:
        got_w_m2 = figures["irradiance_target_w_m2"]
        yield at_most("most_irradiance", got_w_m2, limits.most_irradiance_w_m2, SLACK)
    if limits.least_field_of_view_mm is not None:
        got_mm = figures["field_of_view_mm"]
        yield at_least("least_field_of_view", got_mm, limits.least_field_of_view_mm, SLACK)
    if limits.least_depth_of_field_mm is not None:
        got_mm = figures["depth_of_field_mm"]
        yield at_least("least_depth_of_field", got_mm, limits.least_depth_of_field_mm, SLACK)
    yield at_most("saturation", figures["saturation_white"], limits.most_saturation, SLACK)


def _of_need(way: Way, figures: dict[str, FloatArray]) -> Iterator[Demand]:
    if way.setup.requirement.snr is not None:
        yield at_least("snr", figures["snr_white"], way.setup.requirement.snr)
