"""The search by a bank of filters, against exact distributions and fields of scipy."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.ndimage import gaussian_filter, maximum_filter
from scipy.stats import norm, poisson

from linesim.metrics.detection.search import (
    Bank,
    alarms_at,
    found_share,
    threshold_at,
    threshold_for,
    wanted_dprime,
)

PLAIN = Bank(looks=1.2, slopes=2.4, wave_x=0.0, wave_y=0.0)
SHOTS = [(4.0, 1.0), (9.0, 2.0), (25.0, 3.0), (100.0, 5.0), (400.0, 10.0)]


def one_sample(electrons: float, read_noise_e: float) -> Bank:
    """Make a filter of one sample: Poisson electrons, normal read noise, places without a gap."""
    noise_e = np.sqrt(electrons + read_noise_e**2)
    return Bank(
        looks=1.0, slopes=0.0, wave_x=0.0, wave_y=0.0, shot=electrons / noise_e**2, step=1 / noise_e
    )


@pytest.mark.parametrize(("electrons", "read_noise_e"), SHOTS)
def test_the_threshold_is_that_of_counted_electrons(electrons: float, read_noise_e: float) -> None:
    """
    Thresholds of 4 to 400 electrons are passed as rarely as a normal value passes its own.

    The chance of so few electrons is summed exactly (scipy.stats poisson and norm); the saddlepoint
    is right to 0.003 of a normal level there.
    """
    bank, noise_e = one_sample(electrons, read_noise_e), np.sqrt(electrons + read_noise_e**2)
    counts = np.arange(2000)
    for alarms in (1e-4, 1e-7, 1e-11):
        limit_e = electrons - float(threshold_for(bank, alarms)) * noise_e
        chance = np.sum(
            poisson.pmf(counts, electrons) * norm.cdf((limit_e - counts) / read_noise_e)
        )
        level = float(threshold_for(PLAIN_OF_ONE, alarms))
        assert_allclose(-norm.ppf(chance), level, atol=0.003)


PLAIN_OF_ONE = Bank(looks=1.0, slopes=0.0, wave_x=0.0, wave_y=0.0)


def test_peaks_of_a_smooth_field_are_as_many_as_told() -> None:
    """
    Peaks over 3 in white noise behind scipy's Gaussian filter, within 4 standard errors of counts.

    Behind a Gaussian of σ samples the mean squared slope is 1/(2σ²) a sample. R. J. Adler, The
    Geometry of Random Fields (from memory): above 3 the formula errs by some 1 %.
    """
    sigma, side, level = 4.0, 2048, 3.0
    rng = np.random.default_rng(3)
    field = gaussian_filter(rng.standard_normal((side, side)), sigma, mode="wrap", truncate=6)
    field /= field.std()
    peaks = np.count_nonzero((field > level) & (field == maximum_filter(field, 3, mode="wrap")))
    slope = 1 / (2 * sigma**2)
    bank = Bank(looks=slope, slopes=0.0, wave_x=0.0, wave_y=0.0)
    told = float(alarms_at(bank, level)) * side**2
    assert abs(peaks - told) < 4 * np.sqrt(told) + 0.02 * told


@pytest.mark.parametrize("index", [5.0, 6.5, 8.0])
@pytest.mark.parametrize("variance", [0.7, 1.0])
def test_the_share_found_is_that_of_drawn_peaks(index: float, variance: float) -> None:
    """
    A peak is a normal height h and an exponential lift of mean 1/h: 400,000 drawn (numpy).

    0.4 %: the lift is taken at the threshold's height; 4 standard errors are 0.3 %.
    """
    rng, count, threshold = np.random.default_rng(5), 400_000, 6.4
    height = index + np.sqrt(variance) * rng.standard_normal(count)
    peaks = height + rng.exponential(1 / np.maximum(height, 0.5))
    bank = Bank(looks=0.2, slopes=0.0, wave_x=0.0, wave_y=0.0, variance=variance)
    told = float(found_share(bank, index, threshold))
    assert_allclose(told, np.mean(peaks > threshold), atol=0.007)


@pytest.mark.parametrize("shot", [0.0, 0.8])
def test_thresholds_alarms_rates_and_indices_undo_each_other(shot: float) -> None:
    """Each function turns another round, to 1e-6."""
    bank = Bank(looks=1.2, slopes=2.4, wave_x=0.1, wave_y=0.05, shot=shot, step=0.05, variance=0.8)
    for alarms in (1e-11, 1e-6, 1e-3):
        threshold = threshold_for(bank, alarms)
        assert_allclose(alarms_at(bank, threshold), alarms, rtol=1e-6)
        for rate in (0.1, 0.5, 0.95, 0.9999):
            index = wanted_dprime(bank, rate, threshold)
            assert_allclose(found_share(bank, index, threshold), rate, rtol=1e-6)
            assert_allclose(threshold_at(bank, index, rate), threshold, rtol=1e-6)


def test_swings_with_the_place_cost_what_their_mean_says() -> None:
    """P over a sine of places is the mean of P at a thousand of them (a plain sum), to 0.2 %."""
    bank = Bank(looks=1.0, slopes=0.0, wave_x=0.12, wave_y=0.05)
    still = Bank(looks=1.0, slopes=0.0, wave_x=0.0, wave_y=0.0)
    turns = 2 * np.pi * (np.arange(64) + 0.5) / 64
    swing = 1 + 2 * (0.12 * np.cos(turns)[:, None] + 0.05 * np.cos(turns)[None, :])
    for index in (6.0, 8.0):
        plain = found_share(still, index * np.sqrt(swing), 6.5).mean()
        assert_allclose(found_share(bank, index, 6.5), plain, atol=0.002)
