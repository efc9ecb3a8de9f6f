"""Splits and good images: shares met at any length, never one scene for two."""

import numpy as np
import pytest

from linesim.dataset.plan.keys import image_stream, scan_seed, scene_seed
from linesim.dataset.plan.plan_file import plan_from
from linesim.dataset.plan.splits import SPLITS, is_good, split_of

SHARES = {"train": 0.7, "val": 0.2, "test": 0.1}


@pytest.mark.parametrize("count", [10, 57, 1000])
def test_shares_are_met(count: int) -> None:
    """
    Counts of scenes differ from their shares by two at most.

    Golden ratio sequences have a discrepancy below (log n + 3)/n of the worst interval from 0, in
    practice under 1/n each end (Niederreiter, from memory): two ends, two scenes.
    """
    found = [split_of(scene, SHARES) for scene in range(count)]
    for name in SPLITS:
        assert abs(found.count(name) - SHARES[name] * count) <= 2


def test_a_share_of_nothing_gets_nothing() -> None:
    """Without a share, no scene."""
    shares = {"train": 0.5, "val": 0.0, "test": 0.5}
    assert {split_of(scene, shares) for scene in range(200)} == {"train", "test"}
    assert {split_of(scene, {"train": 0, "val": 0, "test": 1}) for scene in range(50)} == {"test"}


@pytest.mark.parametrize("share", [0.0, 0.1, 0.25, 1 / 3, 0.9, 1.0])
def test_good_images_are_as_many_as_asked(share: float) -> None:
    """Of every first n images, n x share are good, to within one."""
    total = 0
    for index in range(500):
        total += is_good(index, share)
        assert abs(total - (index + 1) * share) < 1 + 1e-6


def test_images_of_one_scene_are_of_one_split() -> None:
    """Whatever the plan, a scene belongs to one split: here with 7 files' worth of scenes."""
    plan = plan_from({"scenes": {"count": 7, "images_each": 3}, "count": 100})
    seen: dict[int, set[str]] = {}
    for index in range(plan.count):
        seen.setdefault(plan.scenes.of_image(index), set()).add(plan.split(index))
    assert len(seen) == 7
    assert all(len(names) == 1 for names in seen.values())


@pytest.mark.parametrize("seed", [0, 7, 2**32, 2**64 - 1])
@pytest.mark.parametrize("index", [0, 3, 10_000_000])
def test_a_scan_has_the_images_number_in_front(seed: int, index: int) -> None:
    """Numpy itself says that the seed of a scan is a spawn key with the number in front."""
    key = (2, 1, 5)
    ours = np.random.SeedSequence(scan_seed(seed, index), spawn_key=key)
    theirs = np.random.SeedSequence(seed, spawn_key=(index + 1, *key))
    assert (ours.generate_state(16) == theirs.generate_state(16)).all()


def test_streams_are_apart() -> None:
    """Images, stages and tries have streams of their own; scenes have seeds of their own."""
    keys = [(k, stage, attempt) for k in range(4) for stage in (6, 7, 8) for attempt in range(2)]
    drawn = {image_stream(1, *key).random() for key in keys}
    assert len(drawn) == len(keys)
    assert len({scene_seed(1, scene) for scene in range(100)}) == 100
