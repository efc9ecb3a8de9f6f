"""Each requirement against what the setup reaches."""

from dataclasses import asdict, dataclass

from linesim.budget.case import Groups, values
from linesim.setup.model import Requirement

FEWEST_PIXELS = 3.0
"""Object pixels across the smallest defect, each way; common practice, no source."""


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


def verdicts(need: Requirement, groups: Groups) -> tuple[Verdict, ...]:
    """
    Judge every requirement that was given.

    Parameters
    ----------
    need : Requirement
        What must be met.
    groups : mapping
        The figures.

    Returns
    -------
    tuple of Verdict
        In the order of the setup file.
    """
    found = []
    if need.smallest_defect_um is not None:
        detection = groups["detection"]
        pixels = min(values(detection["defect_px_x"]) + values(detection["defect_px_y"]))
        found.append(at_least("smallest_defect", FEWEST_PIXELS, pixels))
    if need.snr is not None:
        found.append(at_least("snr", need.snr, min(values(groups["signal"]["snr_white"]))))
    return tuple(found)
