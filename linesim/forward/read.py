"""
Read: the noise of reading a charge or a whole line, and the offset of its column or pixel.

References
----------
EMVA 1288 R4.0 RC (March 2021): read noise as part of σ_d; variance by row, and the rows of a line
camera are its lines, (33) to (44); DSNU as a fixed pattern (66)(67).
"""

from dataclasses import dataclass, replace

import numpy as np

from linesim.forward.draws import add_normal_in_place
from linesim.forward.stage import Columns, Samples, Stage
from linesim.forward.streams import Streams
from linesim.setup.arrays import ImageArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Read(Stage):
    """Noise of one reading."""

    read_noise_e: float  # standard deviation [e]
    streams: Streams  # to draw from

    def __call__(self, samples: Samples, strip: int) -> Samples:
        """Add it to a strip."""
        add_normal_in_place(samples, self.read_noise_e, self.streams.of(strip))
        return samples


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LineNoise(Stage):
    """An offset that all samples of a line share when it is read, new in each line."""

    line_noise_e: float  # standard deviation [e]
    streams: Streams  # to draw from

    def __call__(self, samples: Samples, strip: int) -> Samples:
        """Add it to a strip; every row of pixels is read as a line of its own."""
        *exposures, lines, _ = samples.shape
        # line by line, so that a shorter strip has the same draws
        drawn = self.streams.of(strip).standard_normal((lines, *exposures), dtype=np.float32)
        samples += np.float32(self.line_noise_e) * drawn.T[..., None]
        return samples


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Offset(Stage):
    """Fixed offsets of the pixels, of either sign (DSNU)."""

    offset_e: ImageArray  # shape (columns,);  [e]

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Add them to a strip."""
        samples += self.offset_e
        return samples

    def at(self, columns: Columns) -> "Offset":
        """Give some columns."""
        own = columns.delivered if self.offset_e.ndim == 1 else columns.as_they_come
        return replace(self, offset_e=self.offset_e[..., own])
