"""Predicted and measured figures side by side, and what was found of a capture."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from linesim.figures.cautions import Caution
from linesim.metrics.flat.noise import Estimate
from linesim.studies.measure.against.geometry import Geometry
from linesim.studies.measure.areas import GREY

OFF_SIGMA = 4.0
OFF_SHARE = 0.01
"""A figure is off where it differs by over 4 standard errors and over 1 %; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One figure, predicted and measured."""

    name: str  # of a figure, as JSON has it
    predicted: float
    measured: Estimate
    least: float = 0.0  # difference, in the figure's own unit, that the prediction cannot know

    @property
    def share(self) -> float | None:
        """Measured over predicted, less 1; ``None`` where nothing is predicted."""
        return self.measured.value / self.predicted - 1 if self.predicted else None

    @property
    def sigma(self) -> float:
        """Difference in standard errors; bounded where the error is next to nothing."""
        least = 1e-9 * max(abs(self.predicted), abs(self.measured.value), 1e-9)
        return (self.measured.value - self.predicted) / max(self.measured.sd, least)

    @property
    def is_off(self) -> bool:
        """Whether it is worth a look."""
        apart = abs(self.measured.value - self.predicted)
        far = apart > self.least + OFF_SHARE * abs(self.predicted)
        return far and abs(self.sigma) > OFF_SIGMA

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        share = {} if self.share is None else {"difference": self.share}
        return {
            "predicted": self.predicted,
            "measured": self.measured.value,
            "measured_sd": self.measured.sd,
            **share,
            "sigma": self.sigma,
            "off": self.is_off,
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Agreement:
    """How far prediction and capture agree."""

    name: str
    differences: Mapping[str, tuple[Difference, ...]]  # by colour, "grey" where there is none
    geometry: Geometry
    explanations: tuple[str, ...]
    findings: tuple[str, ...]  # what is off, and where to look
    detailed: bool  # whether the target has detail to read sharpness and places off
    cautions: tuple[Caution, ...] = field(default=())

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        figures = {
            colour: {each.name: each.as_dict() for each in own}
            for colour, own in self.differences.items()
        }
        return {
            "image": self.name,
            "figures": figures.get(GREY, figures),
            **self.geometry.as_dict(),
            "explanations": list(self.explanations),
            "findings": list(self.findings),
            "cautions": [each.as_dict() for each in self.cautions],
        }
