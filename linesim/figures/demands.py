"""
What a setup demands, and when a figure meets it: one rule for one station and for very many.

Some demands are always there: the line rate that the camera can do, the data that its link
carries, the rate at which a lamp can flash (each where the setup states it), an exposure that fits
the period, and no clipping of the brightest part of the target. The requirements of the setup
follow.
"""

import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from linesim.figures.groups import ENDS
from linesim.forward.geometry import Figure
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

NEVER = sys.float_info.max
"""Stands for a size that is never found; JSON has no infinity."""
SLACK = 1e-9
"""Share by which a limit may be passed: rounding of a value that was meant to lie on it."""
CANNOT_RUN = ("line_rate", "link", "pulse_rate", "exposure")
"""Demands without which a station does not run as it stands."""
_LOW_IS_GOOD = ("smallest_defect", "false_alarms_per_m2")
_LARGEST_MARGIN = 1e9
"""A margin is a finite number, also where nothing is left to wish."""


def margin_under(got: Figure, most: Figure) -> FloatArray:
    """Share by which a figure that should be small passes."""
    seen = np.where(np.isnan(got), np.inf, got)
    return np.asarray(most / np.maximum(seen, np.asarray(most) / _LARGEST_MARGIN) - 1)


def margin_over(got: Figure, least: Figure) -> FloatArray:
    """Share by which a figure that should be large passes."""
    seen, asked = np.where(np.isnan(got), 0.0, got), np.asarray(least, dtype=np.float64) > 0
    ratio = np.minimum(seen / np.where(asked, least, 1.0), _LARGEST_MARGIN)
    return np.asarray(np.where(asked, ratio - 1, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What one figure must reach."""

    # key of the section ``requirement``, or what is always judged: "line_rate", "link", "exposure",
    # "clipping"
    requirement: str
    # name of the figure that is judged, and where the budget has it
    group: str
    figure: str
    wanted: float
    low_is_good: bool  # whether the figure should not exceed it
    # "line" where all of the line is alike, "middle", or "worst" where the ends count too
    place: Literal["line", "middle", "worst"] = "worst"
    slack: float = 0.0  # share by which it may be missed

    @property
    def figures(self) -> tuple[str, ...]:
        """Name what is judged: the figure, and its twin at the ends."""
        return (self.figure, self.figure + ENDS) if self.place == "worst" else (self.figure,)

    @property
    def nothing(self) -> float:
        """What a figure without a value counts as."""
        return NEVER if self.low_is_good else 0.0

    def margin(self, got: Figure, slack: float = 0.0) -> FloatArray:
        """Share by which it is passed; slack moves what is wanted."""
        if self.low_is_good:
            return margin_under(got, self.wanted * (1 + slack))
        return margin_over(got, self.wanted * (1 - slack))

    def spare(self, got: Figure) -> FloatArray:
        """Share by which it is passed: negative where it is missed, and only there."""
        return self.margin(got, self.slack)

    def weaker(self, one: Figure, other: Figure) -> FloatArray:
        """Give the worse of two values, such as of middle and ends; no number is the worst."""
        return np.asarray((np.maximum if self.low_is_good else np.minimum)(one, other))

    def worst(self, figures: Mapping[str, FloatArray]) -> FloatArray:
        """Give the value that decides out of all figures: that of the worse place."""
        first, *others = (figures[name] for name in self.figures)
        return self.weaker(first, others[0]) if others else np.asarray(first)


def demands(setup: Setup) -> tuple[Demand, ...]:
    """List what a setup, whose numbers may be arrays but for the requirement, demands."""
    return (*_able(setup), *_needed(setup))


def _able(setup: Setup) -> Iterator[Demand]:
    stated = {
        "line_rate": setup.camera.max_line_rate_hz,
        "link": setup.camera.link_mb_s,
        "pulse_rate": setup.light.max_pulse_rate_hz,
    }
    names = [name for name, most in stated.items() if most is not None]
    for name in (*names, "exposure", "clipping"):
        yield Demand(
            requirement=name,
            group="limits",
            figure=f"{name}_share",
            wanted=1.0,
            low_is_good=True,
            place="middle" if name == "clipping" else "line",
            slack=SLACK,
        )


def _needed(setup: Setup) -> Iterator[Demand]:
    need = setup.requirement
    size_um, sized = setup.smallest_defect_um, setup.smallest_defect_um is not None
    found = "smallest_detectable_um" if need.defect_shape == "disc" else "smallest_width_um"
    if need.defect_relief is not None:
        found = "smallest_relief_um"
    rate = need.detection_rate if sized else None
    alarms = need.false_alarms_per_m2 if sized else None
    for name, group, figure, wanted in (
        ("smallest_defect", "detection", found, size_um),
        ("snr", "signal", "snr_product", need.snr),
        ("detection_rate", "detection", "detection_rate", rate),
        ("false_alarms_per_m2", "detection", "false_alarms_per_m2", alarms),
    ):
        if wanted is not None:
            yield Demand(
                requirement=name,
                group=group,
                figure=figure,
                wanted=wanted,
                low_is_good=name in _LOW_IS_GOOD,
            )
