"""The bootstrap of an edge: same seed, same figures; no orientation matters; nothing is made up."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.stats import norm

from linesim.metrics.edge.bootstrap import RESAMPLINGS, EdgeUncertainty, edge_uncertainty
from linesim.metrics.edge.figures import edge_response
from linesim.setup.arrays import FloatArray


def noisy(sd: float = 4.0, sigma_px: float = 0.7) -> FloatArray:
    """Give an edge of 6° and 120 x 60 px from 50 to 200, with noise."""
    angle = np.radians(6.0)
    y, x = np.mgrid[:120, :60].astype(float)
    d = (x - 29.6) * np.cos(angle) - (y - 59.5) * np.sin(angle)
    noise = np.random.default_rng(2).normal(0, sd, d.shape)
    return np.asarray(50 + 150 * norm.cdf(d / sigma_px) + noise)


def told(image: FloatArray, seed: int = 0) -> EdgeUncertainty:
    """Measure, and tell how well."""
    return edge_uncertainty(image, edge_response(image), seed=seed, resamplings=60)


def test_the_same_seed_gives_the_same_figures() -> None:
    """Another seed gives others, which differ by no more than draws of sixty do."""
    one, again, other = told(noisy()), told(noisy()), told(noisy(), seed=1)
    assert one.mtf50_cyc_px == again.mtf50_cyc_px
    assert_array_equal(one.mtf, again.mtf)
    assert one.mtf50_cyc_px is not None
    assert other.mtf50_cyc_px != one.mtf50_cyc_px
    # relative standard error of the ratio of two scatters of 60: √(2/(2·59)); five of these
    assert other.mtf50_cyc_px == pytest.approx(one.mtf50_cyc_px, rel=5 / np.sqrt(59))


@pytest.mark.parametrize("turn", ["left-right", "negative", "transposed"])
def test_no_orientation_matters(turn: str) -> None:
    """Mirrored, inverted and transposed edges have the same blocks, hence the same scatter."""
    image = noisy()
    turned = {"left-right": image[:, ::-1], "negative": 250.0 - image, "transposed": image.T}[turn]
    one, other = told(image), told(turned)
    assert_allclose(other.mtf[1:101], one.mtf[1:101], rtol=1e-3)
    assert other.rise_10_90_px == pytest.approx(one.rise_10_90_px, rel=1e-3)
    assert (other.blocks, other.resamplings) == (one.blocks, one.resamplings) == (13, 60)


def test_scatter_grows_with_noise() -> None:
    """Twice the noise, twice the scatter: draws, noise and window are the same."""
    image, clean = noisy(2.0), noisy(0.0)
    one = edge_response(image, half_width_px=10.0)
    two = edge_response(2 * image - clean, half_width_px=10.0)
    single = edge_uncertainty(image, one, resamplings=60)
    double = edge_uncertainty(2 * image - clean, two, resamplings=60)
    assert double.mtf[50] == pytest.approx(2 * single.mtf[50], rel=0.1)


def test_no_noise_leaves_hardly_any_scatter() -> None:
    """Without noise only the rounding of phases within a block is left."""
    clean = told(noisy(0.0))
    assert clean.mtf.max() < 0.002
    assert clean.mtf[0] == 0.0


def test_a_crossing_that_is_not_there_has_no_scatter() -> None:
    """Nearly a bare step keeps over a tenth at all frequencies; the half point is there."""
    sharp = told(noisy(1.0, sigma_px=0.3))
    assert sharp.mtf10_cyc_px is None
    assert sharp.mtf50_cyc_px is not None


def test_the_image_is_left_alone() -> None:
    """Nothing is written to it."""
    image = noisy()
    image.setflags(write=False)
    told(image)


def test_the_number_of_draws_is_enough() -> None:
    """A standard deviation of n draws is known to 1/√(2(n − 1)): 4.1 % for 300."""
    assert 1 / np.sqrt(2 * (RESAMPLINGS - 1)) < 0.045
