"""Rows beyond the reference, which a very small aperture sees by the ten thousand."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.sampling.along import AlongTable, seen_rows
from linesim.forward.sampling.sampler import FOLD
from linesim.setup.load import sample_setup, setup_from

SIZE, COLUMNS = 7, 5


@pytest.mark.parametrize("low", [-60, -20, -3, 0, 4])
def test_folded_rows_give_the_same_product(low: int) -> None:
    """
    Border rows that go on for ever, or their weights summed beforehand: one number.

    Sums of 50 numbers under 1 in single precision: 50 half steps of 2**-24 each, relative to 50.
    """
    noise = np.random.default_rng(3)
    reference = ArrayReference(
        data=noise.random((SIZE, COLUMNS), dtype=np.float32), pixel_size_um=1.0
    )
    weights = noise.random((2, 8, 50), dtype=np.float32)
    table = AlongTable(low=np.array([low, low + 3]), weights=weights, terms=2)
    first = int(table.low.min())
    seen = seen_rows(reference, first, table.high - first, repeat=False)
    plain, folded = np.empty((2, 16, COLUMNS), dtype=np.float32)
    table.product((seen, first), 0, plain, repeat=False)
    shorter = table.folded(SIZE)
    shorter.product((reference.data, 0), 0, folded, repeat=False)
    assert shorter.high == SIZE
    assert_allclose(folded, plain, rtol=0, atol=50 * 50 * 2.0**-24)


def small_aperture() -> dict[str, Any]:
    """Describe a station whose lens spreads light over many times its target."""
    texts = {name: part for name, part in sample_setup().texts.items() if name != "requirement"}
    return {
        **texts,
        "target": {**texts["target"], "image": "flat", "pixel_size": "20 um"},
        "lens": {"magnification": 0.1, "f_number": 64.0},
        "camera": {**texts["camera"], "pixels": 16, "pixel_width": "7.5 um"},
    }


def test_the_first_lines_are_those_of_a_longer_scan() -> None:
    """Where border rows are folded too, no line depends on how many follow."""
    assert FOLD * 60 * 20 < 40 * 0.574 * 64 * 1.1 / 0.1  # 40 λN_w/m, and 60 rows of 20 µm: folded
    setup = setup_from(small_aperture())
    noise = np.random.default_rng(4).random((60, 60), dtype=np.float32)
    reference = ArrayReference(data=noise, pixel_size_um=20.0)
    found = [render(setup, reference, lines, seed=1).expected_e for lines in (5, 70)]
    assert_array_equal(found[0], found[1][:5])
