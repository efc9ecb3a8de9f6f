"""Outlines of defects, by the size of their Fourier transforms."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.lens import box_mtf, disc_mtf
from linesim.setup.arrays import FloatArray


class Shape(Protocol):
    """A defect's outline on the target."""

    @property
    def side_um(self) -> tuple[Figure, Figure]:
        """Its size across and along. [µm]."""

    def transform(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give the size of its Fourier transform. [µm²]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A round defect."""

    diameter_um: Figure

    @property
    def side_um(self) -> tuple[Figure, Figure]:
        """Its size across and along. [µm]."""
        return self.diameter_um, self.diameter_um

    def transform(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give the size of its Fourier transform, (πd²/4)·2J₁(πdf)/(πdf). [µm²]."""
        cycles = np.hypot(across_lp_mm, along_lp_mm) * self.diameter_um / 1000
        return np.asarray(np.pi / 4 * np.square(self.diameter_um) * disc_mtf(cycles))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scratch:
    """A straight defect that lies along one of the axes."""

    # its sides [µm]
    across_um: Figure
    along_um: Figure

    @property
    def side_um(self) -> tuple[Figure, Figure]:
        """Its size across and along. [µm]."""
        return self.across_um, self.along_um

    def transform(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give the size of its Fourier transform, a product of two sinc. [µm²]."""
        across = self.across_um * box_mtf(across_lp_mm * self.across_um / 1000)
        return np.asarray(across * self.along_um * box_mtf(along_lp_mm * self.along_um / 1000))
