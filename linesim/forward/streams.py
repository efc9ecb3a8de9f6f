"""Random streams by fixed numbers, so that nobody's draw depends on who draws before."""

from typing import NamedTuple

import numpy as np

SHOT_STREAM = 1
READ_STREAM = 2
PATTERN_STREAM = 3
JITTER_STREAM = 4
REFERENCE_STREAM = 5
LINE_STREAM = 10
TAP_STREAM = 11
MISSED_STREAM = 12


def stream(seed: int, stage: int, channel: int, strip: int) -> np.random.Generator:
    """Give the random stream of one stage, channel and strip."""
    key = (stage, channel, strip)
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(seed, spawn_key=key)))


class Streams(NamedTuple):
    """The random streams of one stage and channel."""

    seed: int
    stage: int
    channel: int

    def of(self, strip: int) -> np.random.Generator:
        """Give that of one strip."""
        return stream(self.seed, self.stage, self.channel, strip)
