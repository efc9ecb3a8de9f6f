"""Quantiles of many values, against numpy's: equal to the last bit."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from numpy.typing import NDArray

from linesim.targets.quantiles import at_most, quantiles

SHARES = (0.0, 0.5, 0.999, 1.0)
COUNT = 300_001


def cases() -> dict[str, NDArray[np.float32]]:
    """Give values with and without ties, and some that mislead a sample of them."""
    random = np.random.default_rng(5)
    normal = random.normal(0.5, 0.1, COUNT)
    astray = np.zeros(COUNT)
    astray[::509] = 1.0  # all that a look at each 509th sees
    two = (random.random(COUNT) < 0.5).astype(float)
    found = {
        "normal": normal,
        "even number": normal[:-1],
        "steps": np.round(normal, 2),
        "flat": np.full(COUNT, 0.7),
        "two": two,
        "astray": astray,
        "sorted": np.sort(normal),
        "colour": random.random((COUNT, 3)) ** 3,
    }
    return {name: values.astype(np.float32) for name, values in found.items()}


@pytest.mark.parametrize("name", cases())
def test_quantiles_are_those_of_numpy(name: str) -> None:
    """Order statistics and the way between two of them are numpy's, whatever the values."""
    values = cases()[name]
    assert_array_equal(quantiles(values, SHARES), np.quantile(values, SHARES, axis=0))


@pytest.mark.parametrize("name", cases())
def test_a_bound_is_not_below_the_quantile(name: str) -> None:
    """What is said not to be exceeded is not, and is a value of the target."""
    values = cases()[name].ravel()[:300_000].reshape(1000, 300)
    bound = at_most([values[:400], values[400:]], 0.999)
    assert bound >= np.quantile(values, 0.999)
    assert bound in values
