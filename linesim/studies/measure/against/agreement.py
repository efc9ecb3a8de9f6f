"""Predicted and measured figures side by side, and what a difference points at."""

from dataclasses import dataclass

import numpy as np

from linesim.figures.cautions import Caution
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.compared import Transfer

OFF_SIGMA = 4.0
OFF_SHARE = 0.01
"""A figure is off where it differs by over 4 standard errors and over 1 %; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One figure, predicted and measured."""

    name: str
    predicted: float
    measured: Estimate

    @property
    def share(self) -> float:
        """Measured over predicted, less 1."""
        return self.measured.value / self.predicted - 1

    @property
    def sigma(self) -> float:
        """Difference in standard errors; bounded where the error is next to nothing."""
        least = 1e-9 * abs(self.predicted)
        return (self.measured.value - self.predicted) / max(self.measured.sd, least)

    @property
    def is_off(self) -> bool:
        """Whether it is worth a look."""
        return abs(self.sigma) > OFF_SIGMA and abs(self.share) > OFF_SHARE

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        return {
            "predicted": self.predicted,
            "measured": self.measured.value,
            "measured_sd": self.measured.sd,
            "difference": self.share,
            "sigma": self.sigma,
            "off": self.is_off,
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Agreement:
    """How far prediction and image agree."""

    differences: tuple[Difference, ...]
    shift_px: tuple[float, float]
    findings: tuple[str, ...]
    ratio: Transfer | None
    cautions: tuple[Caution, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        along_px, across_px = self.shift_px
        return {
            "figures": {each.name: each.as_dict() for each in self.differences},
            "shift_along_px": along_px,
            "shift_across_px": across_px,
            "findings": list(self.findings),
            "cautions": [each.as_dict() for each in self.cautions],
        }


def findings(differences: tuple[Difference, ...]) -> tuple[str, ...]:
    """Say what is off and where to look."""
    named = {each.name: each for each in differences}
    found = []
    level, noise = named["electrons_white"], named["noise_white_e"]
    if level.is_off:
        less = "less" if level.share < 0 else "more"
        found.append(
            f"Signal: {abs(level.share):.1%} {less} than predicted. Look at the light's level and "
            "distance, the aperture, the exposure, the gain and the target's reflectance."
        )
    if noise.is_off:
        more = "more" if noise.share > 0 else "less"
        found.append(
            f"Noise: {abs(noise.share):.1%} {more} than predicted at this signal. Look at read "
            "noise and gain, at flicker, and whether the target's own texture is in the reference."
        )
    if "mtf50_x_lp_mm" in named:
        found += _blur_findings(named["mtf50_x_lp_mm"], named["mtf50_y_lp_mm"])
    return tuple(found)


def _blur_findings(across: Difference, along: Difference) -> list[str]:
    words = {True: "less", False: "more"}
    both = f"MTF50 {across.share:+.1%} across and {along.share:+.1%} along"
    if across.is_off:
        softer = words[across.share > 0]
        also = along.is_off and np.sign(across.share) == np.sign(along.share)
        where = "in both directions" if also else "across the line"
        lens = "Look at focus, working distance, aperture and the lens's own blur."
        return [f"Lens: {softer} blur than predicted {where} ({both}). {lens}"]
    if along.is_off:
        softer = words[along.share > 0]
        motion = "Look at exposure, speed, line rate and vibration."
        return [f"Motion: {softer} blur than predicted along travel alone ({both}). {motion}"]
    return []
