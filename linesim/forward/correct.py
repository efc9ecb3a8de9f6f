"""
Correct: offset and gain of each column of the delivered numbers, (DN − dark)·gain + black.

Flat field and white balance are both of this kind; `linesim.forward.flat_field` works them out.
"""

from dataclasses import dataclass, replace

import numpy as np

from linesim.forward.conversion import whole_numbers
from linesim.forward.stage import Columns, Samples, Stage
from linesim.setup.arrays import FloatArray, ImageArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Correct(Stage):
    """Offset and gain of each column."""

    dark_dn: FloatArray  # shape (columns,); taken off, and multiplied [DN]
    gain: FloatArray
    black_level_dn: float  # put back, and the largest number there is [DN]
    full_scale_dn: int

    @property
    def line(self) -> tuple[ImageArray, ImageArray]:
        """Gain of each column, and what is added behind it. [1, DN]."""
        offset_dn = self.black_level_dn - self.dark_dn * self.gain
        return self.gain.astype(np.float32), offset_dn.astype(np.float32)

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Correct a strip."""
        gain, offset_dn = self.line
        return whole_numbers(samples * gain + offset_dn, self.full_scale_dn)

    def at(self, columns: Columns) -> "Correct":
        """Give some columns."""
        own = columns.delivered
        return replace(self, dark_dn=self.dark_dn[own], gain=self.gain[own])
