"""
Random streams of a set: one key an image, so that nobody's draw depends on who draws before.

The first word of a key is the image's number, counted from 1, and 0 for what belongs to the whole
set; the second is the stage, for ever. Noise and jitter of a scan have their own stages behind the
number, as in `linesim.forward.streams`.
"""

import numpy as np

STATION_STREAM = 6
"""Which values the varied keys take."""
PLACE_STREAM = 7
"""Which part of its scene an image shows."""
FAULT_STREAM = 8
"""Faults; a third word counts the tries."""
NUISANCE_STREAM = 13
"""What lies on good product and is no fault."""
INSERT_STREAM = 14
"""Noise of what a fault adds to a scan or takes from it."""
SCENE_STREAM = 9
"""Seed of a scene; a third word is the scene."""
MOST_SEED = 2**64 - 1
_WORDS_BITS = 128  # numpy gives a seed four words of 32 bit before the key begins


def image_stream(seed: int, index: int, stage: int, attempt: int = 0) -> np.random.Generator:
    """Give the random stream of one stage of one image."""
    return np.random.default_rng(
        np.random.SeedSequence(seed, spawn_key=(index + 1, stage, attempt))
    )


def scan_seed(seed: int, index: int) -> int:
    """
    Give the seed that puts an image's number in front of every key of its scan.

    ``SeedSequence(scan_seed(seed, index), spawn_key=key)`` is
    ``SeedSequence(seed, spawn_key=(index + 1, *key))``: numpy lays a seed's words and the key's
    words in one row, the seed's filled up to four.
    """
    return seed + ((index + 1) << _WORDS_BITS)


def scene_seed(seed: int, scene: int) -> int:
    """Give the seed of a scene."""
    key = np.random.SeedSequence(seed, spawn_key=(0, SCENE_STREAM, scene))
    return int(key.generate_state(1)[0])
