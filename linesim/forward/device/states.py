"""
Where numpy's streams begin, of many strips at once.

A stream's key ends with the number of its strip, and numpy mixes the words of a key into a pool one
after the other: so the pool without the last word is worked out once, and the strips are mixed in
together. `numpy.random.SeedSequence` and ``SFC64`` keep their words from version to version
(numpy's compatibility policy for bit generators).

References
----------
M. E. O'Neill, "Developing a seed_seq alternative", 2015 (the mixing); numpy's documentation of
`SeedSequence`. From memory; held against numpy's own streams in the tests.
"""

import numpy as np
from numpy.typing import NDArray

from linesim.forward.streams import Streams

_POOL = 4
_WORD = 0xFFFFFFFF
_MIX_FIRST, _MIX_STEP = 0x43B0D7E5, 0x931E8875
_OUT_FIRST, _OUT_STEP = 0x8B51F9DD, 0x58F38DED
_LEFT, _RIGHT = np.uint32(0xCA01F9DD), np.uint32(0x4973F715)
_SETTLING = 12
"""Words that SFC64 leaves out after it is seeded."""
Words = NDArray[np.uint32]


def states_of(streams: Streams, strips: range) -> NDArray[np.int64]:
    """
    Give the four words of 64 bits in which SFC64 begins, of shape (strips, 4).

    Parameters
    ----------
    streams : Streams
    strips : range; numbers below 2³²
    """
    rest = (streams.stage, streams.channel)
    pool = np.random.SeedSequence(streams.seed, spawn_key=rest).pool
    seeds = max(_POOL, -(-int(streams.seed).bit_length() // 32))
    # all words before: each of the pool by itself and with the other three, the others with all
    before = _POOL * (_POOL + seeds - _POOL + len(rest))
    strip, mixed = np.asarray(strips, dtype=np.uint32), np.empty((_POOL, len(strips)), np.uint32)
    for place in range(_POOL):
        word = _hashed(strip, _MIX_FIRST, _MIX_STEP, before + place)
        mixed[place] = _folded(_LEFT * pool[place : place + 1] - _RIGHT * word)
    halves = [_hashed(mixed[k % _POOL], _OUT_FIRST, _OUT_STEP, k) for k in range(6)]
    low, high = (np.stack(halves[first::2], axis=1).astype(np.uint64) for first in (0, 1))
    a, b, c = np.moveaxis(low | high << np.uint64(32), 1, 0)
    for counter in range(1, _SETTLING + 1):
        word = a + b + np.uint64(counter)
        a, b = b ^ b >> np.uint64(11), c + (c << np.uint64(3))
        c = (c << np.uint64(24) | c >> np.uint64(40)) + word
    last = np.full_like(a, _SETTLING + 1)
    return np.stack([a, b, c, last], axis=1).view(np.int64)


def _hashed(value: Words, first: int, step: int, turn: int) -> Words:
    """Hash words with the constant of one turn, which is multiplied on from turn to turn."""
    constant = first * pow(step, turn, _WORD + 1)
    mixed = (value ^ np.uint32(constant & _WORD)) * np.uint32(constant * step & _WORD)
    return _folded(mixed)


def _folded(value: Words) -> Words:
    return np.asarray(value ^ value >> np.uint32(16))
