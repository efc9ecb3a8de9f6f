"""
Taps: a line that is read through equal blocks of columns, each with an amplifier of its own.

Tap k makes (1 + g z_k) n + o w_k of a charge n that is read. The z_k and w_k are drawn once for the
camera and brought to mean 0 and mean square 1 over its taps, so that g and o are the standard
deviations between taps, which is what the variance by columns of EMVA 1288 R4.0 RC, (33) to (44),
sees of them; neighbouring taps then differ by √2 of that, on the mean. Two taps differ by 2 g.
"""

from dataclasses import dataclass, replace

import numpy as np

from linesim.forward.stage import Columns, Samples, Stage
from linesim.forward.streams import TAP_STREAM, stream
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Amplify(Stage):
    """Gain and offset of the amplifier of each column."""

    # shape (columns,) of delivered ones, or (1, 1, columns) before they are joined
    gain: ImageArray
    offset_e: ImageArray  # of the same shape [e]

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Amplify a strip."""
        samples *= self.gain
        samples += self.offset_e
        return samples

    def at(self, columns: Columns) -> "Amplify":
        """Give some columns."""
        own = columns.delivered if self.gain.ndim == 1 else columns.as_they_come
        return replace(self, gain=self.gain[..., own], offset_e=self.offset_e[..., own])


def amplifiers(setup: Setup, channel: int, columns: int) -> tuple[FloatArray, FloatArray]:
    """Give gain and offset [e] of each column of a line that has so many; whole taps are alike."""
    taps = setup.camera.taps
    if taps is None:
        return np.ones(columns), np.zeros(columns)
    rng = stream(setup.camera.pattern_seed, TAP_STREAM, channel, 0)
    gain, offset = (_even(each) for each in rng.standard_normal((2, taps.number)))
    tap = np.arange(columns) * taps.number // columns
    return 1 + taps.gain_step * gain[tap], taps.offset_step_e * offset[tap]


def amplify(setup: Setup, channel: int, apart: int) -> tuple[Stage, ...]:
    """Give the stage of a camera that has taps, for columns that come apart, so many, or joined."""
    if setup.camera.taps is None:
        return ()
    columns = setup.camera.pixels // setup.acquisition.binning.across * max(apart, 1)
    gain, offset_e = (
        each.astype(np.float32)[None, None] if apart else each.astype(np.float32)
        for each in amplifiers(setup, channel, columns)
    )
    return (Amplify(gain=gain, offset_e=offset_e),)


def _even(drawn: FloatArray) -> FloatArray:
    """Bring draws to mean 0 and mean square 1."""
    centred = drawn - drawn.mean()
    return np.asarray(centred / np.sqrt(np.square(centred).mean()))
