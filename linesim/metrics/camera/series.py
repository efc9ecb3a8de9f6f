"""A series of exposures of one camera: what each step of light shows, and its own dark."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.flat.noise import FrameFigures
from linesim.setup.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moments:
    """Mean and temporal variance at some steps, and how well they are known."""

    mean_dn: FloatArray  # shape (steps,); mean sample and variance in time. [DN], [DN²]
    temporal_dn2: FloatArray
    mean_sd_dn: FloatArray  # shape (steps,); their standard errors. [DN], [DN²]
    temporal_sd_dn2: FloatArray


def moments_of(figures: Sequence[FrameFigures]) -> Moments:
    """Gather what frames show."""
    return Moments(
        mean_dn=np.array([each.mean_dn.value for each in figures]),
        temporal_dn2=np.array([each.temporal_dn2.value for each in figures]),
        mean_sd_dn=np.array([each.mean_dn.sd for each in figures]),
        temporal_sd_dn2=np.array([each.temporal_dn2.sd for each in figures]),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """Steps of light from dim to bright, each with the dark of the same exposure time."""

    # shape (steps,); rising; photons on a pixel, or any measure in proportion to them
    light: FloatArray
    lit: Moments
    dark: Moments  # in the dark, at rising exposure times
    dark_exposure_us: FloatArray  # shape (darks,); these times [µs]
    dark_of: NDArray[np.intp]  # shape (steps,); which dark belongs to a step
    # shape (steps,); share of samples at the largest value that the camera gives
    share_at_top: FloatArray | None = None

    @property
    def signal_dn(self) -> FloatArray:
        """Means less those of their darks, μ_y − μ_y.dark. [DN]."""
        return self.lit.mean_dn - self.dark.mean_dn[self.dark_of]

    @property
    def noise_dn2(self) -> FloatArray:
        """Variances less those of their darks, σ_y² − σ_y.dark². [DN²]."""
        return self.lit.temporal_dn2 - self.dark.temporal_dn2[self.dark_of]

    @property
    def shortest(self) -> int:
        """The dark of the shortest exposure that has light too; dark noise is read there."""
        return int(self.dark_of.min())

    def values(self) -> FloatArray:
        """Give all raw means and variances in one row."""
        lit, dark = self.lit, self.dark
        return np.concatenate((dark.mean_dn, dark.temporal_dn2, lit.mean_dn, lit.temporal_dn2))

    def sds(self) -> FloatArray:
        """Give their standard errors."""
        lit, dark = self.lit, self.dark
        return np.concatenate(
            (dark.mean_sd_dn, dark.temporal_sd_dn2, lit.mean_sd_dn, lit.temporal_sd_dn2)
        )

    def having(self, values: FloatArray) -> "Series":
        """Give the series with other raw means and variances, as in `values`."""
        darks, steps = self.dark_exposure_us.size, self.light.size
        cuts = np.cumsum((darks, darks, steps))
        dark_dn, dark_dn2, lit_dn, lit_dn2 = np.split(values, cuts)
        return replace(
            self,
            dark=replace(self.dark, mean_dn=dark_dn, temporal_dn2=dark_dn2),
            lit=replace(self.lit, mean_dn=lit_dn, temporal_dn2=lit_dn2),
        )
