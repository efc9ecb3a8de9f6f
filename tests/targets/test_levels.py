"""How light a target is, and tiles of it."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.forward.reference import ArrayReference
from linesim.targets.catalogue import BUILT_INS, BuiltIn, make
from linesim.targets.levels import TILE, levels_of, tiles_of

TAKEN = [entry for entry in BUILT_INS if entry.name != "edge"]


@pytest.mark.parametrize("entry", TAKEN, ids=lambda entry: entry.name)
def test_a_built_in_states_its_own_levels(entry: BuiltIn) -> None:
    """Median and 99.9th percentile of what is drawn are those that the catalogue states, to 1 %."""
    part = 4 if entry.colour else 1  # a quarter of the tiles shows as much, sooner
    found = levels_of(make(entry.name, height_mm=entry.height_mm / part))
    assert_allclose(found.product, entry.product, rtol=0.01)
    assert_allclose(found.brightest, entry.brightest, rtol=0.01)


def test_an_edge_is_as_light_as_its_light_side() -> None:
    """Half dark, half light, the median says nothing: the light side counts."""
    (edge,) = (entry for entry in BUILT_INS if entry.name == "edge")
    data = make("edge").rows(0, 200)
    assert_allclose(data.max(), edge.product[0], rtol=1e-6)
    assert_allclose(data.max(), edge.brightest[0], rtol=1e-6)


def test_levels_of_an_array_are_its_quantiles() -> None:
    """Median and 99.9th percentile of every colour, by numpy."""
    data = np.random.default_rng(1).random((200, 300, 3), dtype=np.float32)
    found = levels_of(ArrayReference(data=data, pixel_size_um=10.0))
    assert_allclose(found.product, np.median(data, axis=(0, 1)), rtol=1e-6)
    assert_allclose(found.brightest, np.quantile(data, 0.999, axis=(0, 1)), rtol=1e-6)


def test_tiles_are_pieces_of_the_target() -> None:
    """Six whole tiles fit into 130 x 200 pixels; the first is the corner."""
    data = np.random.default_rng(2).random((130, 200), dtype=np.float32)
    found = tiles_of(ArrayReference(data=data, pixel_size_um=10.0))
    assert found.data.shape == (6, TILE, TILE)
    assert_allclose(found.data[0], data[:TILE, :TILE])
