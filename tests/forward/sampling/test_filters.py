"""The products against filters of an independent library with the same weights."""

import numpy as np
import pytest

from linesim.setup.load import changed
from tests.stations import plain_setup

pytest.importorskip("cv2")

from tests.bench.lens_cv import apart

FINE, COLUMNS, LINES = 4, 48, 11
STATION = plain_setup(
    "filters",
    target={"pixel_size": "18.75 um"},
    lens={"blur": "2.25 um"},
    camera={"pixels": COLUMNS},
)


@pytest.mark.parametrize("f_number", [0.5, 4.0, 8.0])
def test_products_are_those_of_filters(f_number: float) -> None:
    """
    Tiles, borders and terms give what OpenCV's filters give, which know no tiles.

    Each way adds some 76 x 120 products of float32, weights of which sum to 1: along and across
    together err by at most 200 roundings of 2⁻²⁴ relative to white, twice the mean.
    """
    board = np.random.default_rng(3).random((LINES * FINE, COLUMNS * FINE), dtype=np.float32)
    setup = changed(STATION, {"lens.f_number": f_number})
    assert apart(setup, board, setup.target.pixel_size_um) < 2 * 200 * 2**-24
