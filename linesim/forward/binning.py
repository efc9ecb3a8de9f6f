"""
Binning: in the charge domain before the one conversion, or of numbers after one conversion each.

Charge: wells clip, charge is summed, and the summing place clips too. Digital: black is taken off
every number, they are summed or averaged, black is put back once, and the word clips.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.forward.conversion import Conversion, whole_numbers
from linesim.forward.stage import Samples, Stage


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Wells(Stage):
    """Capacity of each pixel as it comes. [e]."""

    full_well_e: float

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Cut charge off at the well."""
        np.minimum(samples, np.float32(self.full_well_e), out=samples)
        return samples


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class JoinCharge(Stage):
    """Sum the charge of physical pixels into delivered ones."""

    across: int  # columns of one delivered pixel
    place_e: float  # capacity of the place where charge is summed [e]

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Join a strip."""
        alone = len(samples) == self.across == 1
        joined: Samples = samples[0] if alone else _summed(samples, self.across, np.float32)
        np.minimum(joined, np.float32(self.place_e), out=joined)
        return joined


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class JoinNumbers(Stage):
    """Sum or average the numbers of physical pixels, black counted once."""

    across: int  # columns of one delivered pixel
    average: bool  # whether the sum is divided by their number
    conversion: Conversion  # its black level and full scale [DN]

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Join a strip."""
        black_dn, count = float(self.conversion.black_level_dn), len(samples) * self.across
        joined = _summed(samples, self.across, np.int32).astype(np.float32)
        joined -= np.float32(count * black_dn)
        if self.average:
            joined /= np.float32(count)
        joined += np.float32(black_dn)
        return whole_numbers(joined, int(self.conversion.full_scale_dn))


def _summed(samples: Samples, across: int, kind: type[Any]) -> NDArray[Any]:
    exposures, lines, columns = samples.shape
    groups = samples.reshape(exposures, lines, columns // across, across)
    return np.asarray(groups.sum(axis=(0, 3), dtype=kind))
