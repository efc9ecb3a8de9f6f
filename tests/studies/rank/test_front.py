"""The front is what comparing every option with every other gives."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.setup.arrays import FloatArray
from linesim.studies.batch.station_arrays import alike
from linesim.studies.rank.front import front_of


def by_comparing_all(points: FloatArray) -> list[int]:
    """Apply the definition itself: not beaten by any other, and not equal to one before."""
    found = []
    for place, point in enumerate(points):
        beats = (points <= point).all(axis=1) & (points < point).any(axis=1)
        twin_before = (points[:place] == point).all(axis=1).any()
        if not beats.any() and not twin_before:
            found.append(place)
    return found


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("levels", [2, 5, 40, 10**6])
def test_front_is_the_definition(seed: int, levels: int) -> None:
    """Random points, from many equal ones to all different."""
    points = np.random.default_rng(seed).integers(0, levels, (300, 3)).astype(np.float64)
    assert_array_equal(front_of(points), by_comparing_all(points))


@pytest.mark.parametrize("seed", range(3))
def test_a_front_of_nearly_all(seed: int) -> None:
    """Points on a sphere's near side: none beats another, so that all stay."""
    draw = np.abs(np.random.default_rng(seed).normal(size=(500, 3)))
    points = -draw / np.linalg.norm(draw, axis=1)[:, None]
    assert_array_equal(front_of(points), np.arange(500))


@pytest.mark.parametrize("seed", range(3))
def test_a_long_front_with_ties(seed: int) -> None:
    """Whole numbers whose sum is one of two: hundreds lead, and many neighbours agree in two."""
    rng = np.random.default_rng(seed)
    pairs = rng.integers(0, 30, (800, 2))
    third = 60 + rng.integers(0, 2, 800) - pairs.sum(axis=1)
    points = np.column_stack([pairs, third]).astype(np.float64)
    front = front_of(points)
    assert len(front) > 300
    assert_array_equal(front, by_comparing_all(points))


def test_infinite_values_and_few_points() -> None:
    """What reaches nothing in one objective may lead in another; no point and one are fine."""
    assert front_of(np.zeros((0, 3))).size == 0
    assert_array_equal(front_of(np.array([[1.0, 2.0, np.inf]])), [0])
    points = np.array([[1.0, -5.0, np.inf], [1.0, -5.0, 3.0], [0.5, -5.0, np.inf]])
    assert_array_equal(front_of(points), [1, 2])


def test_alike_parts_no_equal_values() -> None:
    """Neighbouring floats come out as one; six digits are kept; 0 and infinity stay."""
    values = np.array([0.1 + 0.2, 0.3, 123456.4, 0.0, np.inf, -2.5e-7])
    got = alike(values, 6)
    assert got[0] == got[1]
    assert_array_equal(got[2:5], [123456.0, 0.0, np.inf])
    # rounding at the sixth digit moves a value by half a unit of it at most
    assert abs(got[5] / -2.5e-7 - 1) < 5e-6
