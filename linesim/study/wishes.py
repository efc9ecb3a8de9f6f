"""Which figure a requirement is judged by, and which limit no figure should pass."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

LOW_IS_GOOD = frozenset(
    {
        "dark_e",
        "dark_noise_e",
        "false_alarms_per_m2",
        "motion_blur_px",
        "motion_blur_um",
        "noise_white_e",
        "rose_diameter_um",
        "saturation_white",
        "smallest_detectable_um",
        "smallest_width_um",
        "threshold_e",
    }
)
"""Figures of which the largest colour is the weakest; of others it is the smallest."""
LIMIT = "saturation_white"
"""The figure that says how near white is to the nearest limit, which is 1."""
_MOST = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """
    What one figure should reach.

    Parameters
    ----------
    requirement : str
        Key of the section ``requirement``; empty for the saturation limit.
    figure : str
        Name of the figure.
    wanted : float
        In the figure's unit.
    """

    requirement: str
    figure: str
    wanted: float

    @property
    def low_is_good(self) -> bool:
        """Whether the figure should not exceed what is wanted."""
        return self.figure in LOW_IS_GOOD

    def margin(self, got: FloatArray) -> FloatArray:
        """Share by which it is passed, negative where it is missed, -1 where there is no value."""
        if self.low_is_good:
            seen = np.where(np.isfinite(got), got, np.inf)
            return np.asarray(self.wanted / np.maximum(seen, self.wanted / _MOST) - 1)
        seen = np.where(np.isfinite(got), got, 0.0)
        return np.asarray(np.minimum(seen / self.wanted, _MOST) - 1)


UNSATURATED = Wish(requirement="", figure=LIMIT, wanted=1.0)
"""White within the nearest limit."""


def wishes_of(setup: Setup, varied: Collection[str] = ()) -> tuple[Wish, ...]:
    """
    List what a setup requires.

    Parameters
    ----------
    setup : Setup
        The station.
    varied : collection of str
        Dotted keys that do not stay; a requirement that is varied itself is left out.

    Returns
    -------
    tuple of Wish
        As the verdicts of the budget judge them.
    """
    need = setup.requirement
    width = "smallest_detectable_um" if need.defect_shape == "disc" else "smallest_width_um"
    size_um = need.smallest_defect_um
    asked = [("smallest_defect", width, size_um), ("snr", "snr_white", need.snr)]
    if size_um is not None:
        asked.append(("detection_rate", "detection_rate", need.detection_rate))
        asked.append(("false_alarms_per_m2", "false_alarms_per_m2", need.false_alarms_per_m2))
    return tuple(
        Wish(requirement=requirement, figure=figure, wanted=wanted)
        for requirement, figure, wanted in asked
        if wanted and f"requirement.{requirement}" not in varied
    )


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
