"""Each requirement against what the setup reaches."""

import sys
from dataclasses import asdict, dataclass

from linesim.budget.case import Groups, values
from linesim.setup.setup import Setup

FEWEST_PIXELS = 3.0
"""Object pixels across the smallest defect, each way; common practice, no source."""
NEVER = sys.float_info.max
"""Stands for a size that is never found; JSON has no infinity."""
_LARGEST_MARGIN = 1e9
"""A margin is a finite number, also where nothing is left to wish."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """
    One requirement.

    Parameters
    ----------
    requirement : str
        Its name in the setup.
    wanted, got : float
        In the same unit.
    margin : float
        Share by which it is passed, got/wanted − 1; negative where it is missed.
    met : bool
        Whether it is reached.
    """

    requirement: str
    wanted: float
    got: float
    margin: float
    met: bool

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        return asdict(self)


def at_least(requirement: str, wanted: float, got: float) -> Verdict:
    """
    Judge a figure that should be large.

    Parameters
    ----------
    requirement : str
        Its name.
    wanted, got : float
        In the same unit.

    Returns
    -------
    Verdict
        Met where ``got`` reaches ``wanted``.
    """
    margin = got / wanted - 1 if wanted > 0 else 0.0
    return Verdict(
        requirement=requirement, wanted=wanted, got=got, margin=margin, met=got >= wanted
    )


def at_most(requirement: str, wanted: float, got: float) -> Verdict:
    """
    Judge a figure that should be small.

    Parameters
    ----------
    requirement : str
        Its name.
    wanted, got : float
        In the same unit.

    Returns
    -------
    Verdict
        Met where ``got`` does not exceed ``wanted``.
    """
    margin = wanted / max(got, wanted / _LARGEST_MARGIN) - 1
    return Verdict(
        requirement=requirement, wanted=wanted, got=got, margin=margin, met=got <= wanted
    )


def verdicts(setup: Setup, groups: Groups) -> tuple[Verdict, ...]:
    """
    Judge every requirement that was given; of several colours the weakest counts.

    Parameters
    ----------
    setup : Setup
        With what must be met.
    groups : mapping
        The figures.

    Returns
    -------
    tuple of Verdict
        In the order of the setup file.
    """
    need, detection, found = setup.requirement, groups["detection"], []
    if need.smallest_defect_um is not None:
        name = "smallest_detectable_um" if need.defect_shape == "disc" else "smallest_width_um"
        # without light nothing is found, and the figure is absent
        got_um = max(values(detection.get(name, NEVER)))
        found.append(at_most("smallest_defect", need.smallest_defect_um, got_um))
    if need.snr is not None:
        found.append(at_least("snr", need.snr, min(values(groups["signal"]["snr_white"]))))
    if need.smallest_defect_um is not None and need.detection_rate is not None:
        rate = min(values(detection["detection_rate"]))
        found.append(at_least("detection_rate", need.detection_rate, rate))
    if need.smallest_defect_um is not None and need.false_alarms_per_m2 is not None:
        alarms = max(values(detection["false_alarms_per_m2"]))
        found.append(at_most("false_alarms_per_m2", need.false_alarms_per_m2, alarms))
    return tuple(found)
