"""
Read: the noise of reading a charge, and the offset of its column or pixel.

References
----------
EMVA 1288 R4.0 RC (March 2021): read noise as part of σ_d; DSNU as a fixed pattern (66)(67).
"""

from dataclasses import dataclass, replace

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
