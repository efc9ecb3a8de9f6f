"""
Which counts of an encoder get lost: each by chance, and any of them known without those before.

The counts of half a billion make a block, whose lost ones are binomial. Of a block that is halved,
the lost ones in its first half are hypergeometric, and so on down to a thousand counts, whose lost
ones are drawn without putting back. Every part has a random stream of its own, so that a line far
along costs no more than the first, and strips, windows and workers see the same counts.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.forward.streams import MISSED_STREAM

Counts = NDArray[np.int64]
_BLOCK = 1 << 29
_LEAF = 1 << 10
_STREAMS = 1 << 32


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A part of the travel: a block halved so many times."""

    seed: int
    level: int
    index: int

    @property
    def size(self) -> int:
        """Counts made in it."""
        return _BLOCK >> self.level

    def random(self, kind: int) -> np.random.Generator:
        """Give its random stream: 0 for how many are lost in all of it, 1 for where."""
        key = (MISSED_STREAM, kind, self.level, self.index)
        return np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=key))

    def places(self, lost: int, rank: Counts) -> Counts:
        """Place counts that arrive, by their rising numbers in it, of which so many get lost."""
        if lost == 0 or rank.size == 0:
            return rank
        draw = self.random(1)
        if self.size == _LEAF:
            gone = draw.choice(_LEAF, lost, replace=False)
            return np.delete(np.arange(_LEAF), gone)[rank]
        half = self.size // 2
        lost_first = int(draw.hypergeometric(lost, self.size - lost, half))
        first, second = (
            _Part(seed=self.seed, level=self.level + 1, index=2 * self.index + k) for k in (0, 1)
        )
        cut = int(np.searchsorted(rank, half - lost_first))
        arrived = rank[cut:] - (half - lost_first)
        return np.concatenate(
            [
                first.places(lost_first, rank[:cut]),
                half + second.places(lost - lost_first, arrived),
            ]
        )


def place_of(seed: int, share: float, number: Counts) -> Counts:
    """
    Tell where counts that arrive were made.

    Parameters
    ----------
    number : ndarray; counts that arrived since the start, may be negative

    Returns
    -------
    ndarray; counts made since then: a negative binomial, of mean n/(1−s) and variance ns/(1−s)²
    """
    chosen, back = np.unique(np.append(number, 0), return_inverse=True)
    made = np.empty_like(chosen)
    block, before = 0, 0
    while before > chosen[0]:
        block -= 1
        before -= _BLOCK - _lost(seed, share, block)
    while before <= chosen[-1]:
        lost = _lost(seed, share, block)
        here = (chosen >= before) & (chosen < before + _BLOCK - lost)
        if here.any():
            part = _Part(seed=seed, level=0, index=block % _STREAMS)
            made[here] = block * _BLOCK + part.places(lost, chosen[here] - before)
        block, before = block + 1, before + _BLOCK - lost
    found = made[back.reshape(-1)]
    return np.asarray(found[:-1] - found[-1])


def _lost(seed: int, share: float, block: int) -> int:
    """Draw how many counts of a block get lost."""
    draw = _Part(seed=seed, level=0, index=block % _STREAMS).random(0)
    return int(draw.binomial(_BLOCK, share))
