"""Which scenes train, which validate, which test: never one for two of them."""

from collections.abc import Mapping
from itertools import accumulate

SPLITS = ("train", "val", "test")
_GOLDEN = 0.6180339887498949


def split_of(scene: int, shares: Mapping[str, float]) -> str:
    """
    Tell the split of a scene.

    Multiples of the golden ratio, modulo 1, fill the unit interval more evenly than chance: every
    first part of the scenes meets the shares to within a scene or two, and a longer set only adds
    to a shorter one. Scenes are drawn independently, so no order among them can be favoured.
    """
    place = (scene + 0.5) * _GOLDEN % 1.0
    ends = accumulate(shares[name] for name in SPLITS)
    found = [name for name, end in zip(SPLITS, ends, strict=True) if place < end]
    # rounding may leave the last end a hair below 1
    return found[0] if found else max(SPLITS, key=lambda name: (shares[name], name))


def is_good(index: int, share: float) -> bool:
    """Say whether an image stays without faults: evenly, so that every first part has its share."""
    # a share as written in decimals must not lose an image to its binary rounding
    return int((index + 1) * share + _HAIR) > int(index * share + _HAIR)


def is_good_of_scene(index: int, share: float, scenes: int, images_each: int) -> bool:
    """Say the same where a set comes back to its scenes, each with its share to two images."""
    run, place = divmod(index, images_each)
    rounds, scene = divmod(run, scenes)
    counted = (rounds * images_each + place) * share + scene * _GOLDEN % 1.0
    return int(counted + share + _HAIR) > int(counted + _HAIR)


_HAIR = 1e-9
