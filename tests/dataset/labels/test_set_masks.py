"""Masks of an image: outlines cut from covers, no sample to two faults."""

import numpy as np
from numpy.testing import assert_array_equal

from linesim.dataset.labels.masks import Outline, apart, class_mask, outline
from linesim.defects.labels import Label


def label(mask: list[list[float]]) -> Label:
    """Place a cover at line 3, column 5."""
    return Label(first_line=3, first_column=5, mask=np.array(mask, dtype=np.float32))


def test_a_fault_that_fills_samples_is_cut_at_the_threshold() -> None:
    """0.5 of a full sample: what is covered by half and more, trimmed to what is left."""
    found = outline(label([[0.1, 0.2, 0.1], [0.4, 1.0, 0.5], [0.1, 0.7, 0.2]]), 0.5)
    assert_array_equal(found.mask, [[True, True], [True, False]])
    assert (found.line, found.column) == (4, 6)
    assert found.box == (6, 4, 2, 2)
    assert found.area_px == 3


def test_a_fault_finer_than_a_sample_is_cut_by_its_own_most() -> None:
    """A disc on a corner of four samples is all four of them, not none."""
    found = outline(label([[0.11, 0.12], [0.10, 0.12]]), 0.5)
    assert found.area_px == 4


def test_the_fault_on_top_has_the_sample() -> None:
    """Of two that overlap the later one is whole; one that lies under another vanishes."""
    square = Outline(line=0, column=0, mask=np.ones((3, 3), dtype=bool))
    small = Outline(line=1, column=1, mask=np.ones((1, 1), dtype=bool))
    right = Outline(line=0, column=2, mask=np.ones((3, 2), dtype=bool))
    under, low, top = apart([small, square, right], (5, 6))
    assert under.area_px == 0
    assert low.box == (0, 0, 2, 3)
    assert top.area_px == 6
    drawn = class_mask([(low, 4), (top, 9)], (5, 6))
    assert_array_equal(drawn[:3, :4], [[4, 4, 9, 9]] * 3)
    assert drawn[3:].sum() == 0
