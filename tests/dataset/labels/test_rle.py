"""Run lengths against pycocotools, which reads and writes them independently."""

import numpy as np
import pytest
from pycocotools import mask as coco

from linesim.dataset.labels.rle import counts_of, mask_of, placed_runs, runs, text_of


def masks() -> list[np.ndarray]:
    """Draw masks of all sizes and fillings, empty and full ones too."""
    random = np.random.default_rng(3)
    sizes = random.integers(1, 60, (120, 2))
    drawn = [random.random(tuple(size)) < random.random() for size in sizes]
    return [*drawn, np.zeros((7, 5), dtype=bool), np.ones((7, 5), dtype=bool)]


def test_text_is_that_of_pycocotools() -> None:
    """The same mask gives the same text."""
    for mask in masks():
        expected = coco.encode(np.asfortranarray(mask.astype(np.uint8)))["counts"].decode()
        assert text_of(runs(mask)) == expected


def test_long_runs_are_written_too() -> None:
    """Counts of many groups of bits, up and down: a sample in the far corner of a large image."""
    mask = np.zeros((3000, 4000), dtype=bool)
    mask[10, 20] = mask[2999, 3999] = True
    expected = coco.encode(np.asfortranarray(mask.astype(np.uint8)))["counts"].decode()
    assert text_of(runs(mask)) == expected


def test_text_is_read_back() -> None:
    """Reading gives counts and mask again."""
    for mask in masks():
        text = text_of(runs(mask))
        assert counts_of(text) == runs(mask)
        assert (mask_of(text, (mask.shape[0], mask.shape[1])) == mask).all()


@pytest.mark.parametrize("place", [(0, 0), (0, 4), (3, 0), (3, 4)])
def test_a_part_is_placed_in_the_whole(place: tuple[int, int]) -> None:
    """Runs of a part, laid into the whole, are those of the whole: at borders, corners, inside."""
    for part in masks():
        line, column = place
        for more in (0, 2):
            whole = np.zeros((part.shape[0] + line + more, part.shape[1] + column + more), bool)
            whole[line : line + part.shape[0], column : column + part.shape[1]] = part
            assert placed_runs(part, place, (whole.shape[0], whole.shape[1])) == runs(whole)
