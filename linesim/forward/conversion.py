"""Electrons to numbers and back: a straight line from black to full scale. All broadcast."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.forward.geometry import Figure
from linesim.setup.arrays import ImageArray

ROUNDING_DN = 0.4
"""Noise under which rounding no longer adds `QUANTISATION_VARIANCE_DN2`, EMVA 1288. [DN]."""
QUANTISATION_VARIANCE_DN2 = 1 / 12
"""Variance of rounding, EMVA 1288 σ_q²; holds while the noise is above `ROUNDING_DN`. [DN²]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Conversion:
    """How electrons become numbers; each field a number or an array."""

    gain_dn_e: Figure  # slope [DN/e]
    black_level_dn: Figure  # number of no electron, and the largest there is [DN]
    full_scale_dn: Figure

    def number_dn(self, charge_e: Figure) -> Figure:
        """Give the number of a charge, neither rounded nor cut off. [DN]."""
        return self.black_level_dn + self.gain_dn_e * charge_e

    def charge_e(self, number_dn: Figure) -> Figure:
        """Give the charge behind a number. [e]."""
        return (number_dn - self.black_level_dn) / self.gain_dn_e

    @property
    def full_scale_e(self) -> Figure:
        """Charge at full scale. [e]."""
        return self.charge_e(self.full_scale_dn)


def whole_numbers(value_dn: ImageArray, full_scale_dn: int) -> NDArray[np.uint16]:
    """Round half up in place, and clip to the word."""
    value_dn += np.float32(0.5)
    np.clip(value_dn, 0, np.float32(full_scale_dn), out=value_dn)
    return value_dn.astype(np.uint16)  # positive by now, so cutting off is floor
