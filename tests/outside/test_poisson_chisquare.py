"""
The noise kernel against `scipy.stats`: Poisson, normal and their sum.

Two kinds of check. The expansions are compared with the exact distributions without any random
number: a normal w falls below the boundary of a count with a probability that must be the Poisson
probability of the counts below. And draws with fixed seeds are put through chi-square tests.

Tolerances: a chi-square p value under 1e-6 has that chance in a test (4.8 standard deviations of a
normal, one-sided); means and variances get 4.5 of their own standard deviations.
"""

import os
from collections.abc import Callable

import numpy as np
import pytest
from numpy.random import SFC64, Generator
from scipy.stats import chisquare, norm, poisson

from linesim.forward import draws as sampler
from linesim.setup.arrays import FloatArray, ImageArray

SAMPLES = 1_500_000 if "LINESIM_NIGHTLY" in os.environ else 400_000
LEAST_P = 1e-6
SIGMAS = 4.5
MEANS_E = [0.1, 0.5, 1, 3, 7, 9.9, 10.1, 12, 20, 31.9, 32, 50, 100, 1e3, 1e4, 1e5, 1e6]

# Probabilities below which the cells of a chi-square test end: 200 cells, finer in the tails; the
# rarest cell expects 1e-5 SAMPLES = 15.
TAIL = np.array([1e-5, 1e-4, 1e-3])
LEVELS = np.concatenate([TAIL, np.linspace(0.005, 0.995, 195), 1 - TAIL[::-1]])


def _rng(seed: int) -> Generator:
    return Generator(SFC64(seed))


def _p_value(draws: ImageArray, edges: FloatArray, below: FloatArray) -> float:
    """Chi-square test of draws in cells (−∞, e0], (e0, e1], … with given probability below."""
    observed = np.bincount(np.searchsorted(edges, draws), minlength=edges.size + 1)
    expected = draws.size * np.diff(below, prepend=0.0, append=1.0)
    return float(chisquare(observed, expected).pvalue)


@pytest.mark.parametrize("mean_e", MEANS_E)
def test_counts_are_poisson(mean_e: float) -> None:
    """Shape, mean and variance; a sample variance has relative variance 2/n + 1/(n λ)."""
    counts = np.full(SAMPLES, mean_e, dtype=np.float32)
    sampler.poisson_in_place(counts, _rng(1))
    # scipy is asked about the float32 mean that the kernel saw
    exact = poisson(float(np.float32(mean_e)))
    edges = np.unique(exact.ppf(LEVELS))
    assert _p_value(counts, edges, exact.cdf(edges)) > LEAST_P
    assert counts.mean(dtype=float) == pytest.approx(mean_e, abs=SIGMAS * np.sqrt(mean_e / SAMPLES))
    assert counts.var(dtype=float) == pytest.approx(
        mean_e, rel=SIGMAS * np.sqrt(2 / SAMPLES + 1 / (SAMPLES * mean_e))
    )


def test_gradient_across_the_threshold() -> None:
    """Dark and bright samples side by side: each column keeps its own mean and variance."""
    lines, columns = 20_000, 96
    mean_e = np.linspace(0.5, 2 * sampler.BRIGHT_E, columns, dtype=np.float32)
    counts = np.repeat(mean_e[np.newaxis], lines, axis=0)
    sampler.poisson_in_place(counts, _rng(2))
    z_mean = (counts.mean(axis=0, dtype=float) - mean_e) / np.sqrt(mean_e / lines)
    relative = counts.var(axis=0, dtype=float) / mean_e - 1
    z_variance = relative / np.sqrt(2 / lines + 1 / (lines * mean_e))
    assert np.abs(z_mean).max() < SIGMAS
    assert np.abs(z_variance).max() < SIGMAS


def test_normals_are_normal() -> None:
    """Shape with cells out to 4.3 standard deviations, and no tie between the two of a pair."""
    normals = np.empty(SAMPLES, dtype=np.float32)
    sampler.fill_standard_normal(normals, _rng(3))
    assert _p_value(normals, norm.ppf(LEVELS), LEVELS) > LEAST_P
    half = SAMPLES // 2
    cosine, sine = normals[:half].astype(float), normals[half:].astype(float)
    # products of independent standard normals, and of their squares less 1, have variance 1 and 4
    assert abs((cosine * sine).mean()) < SIGMAS / np.sqrt(half)
    assert abs(((cosine**2 - 1) * (sine**2 - 1)).mean()) < SIGMAS * 2 / np.sqrt(half)


def test_read_noise_is_normal() -> None:
    """Added to a level, with a standard deviation of its own."""
    block = np.full(SAMPLES, 100.0, dtype=np.float32)
    sampler.add_normal_in_place(block, 7.5, _rng(4))
    assert _p_value(block, norm.ppf(LEVELS, loc=100.0, scale=7.5), LEVELS) > LEAST_P


def _sum_cdf(edges: FloatArray, mean_e: float, sd_e: float) -> FloatArray:
    """Exact distribution of count plus normal noise: a normal around each count, weighted."""
    counts = np.arange(poisson.ppf(1e-16, mean_e), poisson.isf(1e-16, mean_e) + 1)
    below = norm.cdf((edges[:, np.newaxis] - counts) / sd_e)
    return np.asarray(below @ poisson.pmf(counts, mean_e), dtype=float)


@pytest.mark.parametrize("sd_e", [1.5, sampler.FUSED_SD_E, 20.0])
@pytest.mark.parametrize("mean_e", [0.0, 0.5, 16.0, 400.0, 10_000.0])
def test_sum_of_count_and_noise(mean_e: float, sd_e: float) -> None:
    """Drawn in two steps and in one."""
    total = np.full(SAMPLES, mean_e, dtype=np.float32)
    sampler.poisson_plus_normal_in_place(total, sd_e, _rng(5))
    edges = norm.ppf(LEVELS, loc=mean_e, scale=np.hypot(np.sqrt(mean_e), sd_e))
    # the cells are those of a normal, so in a skew distribution the last ones may be all but empty
    below = _sum_cdf(edges, mean_e, sd_e)
    wide = (SAMPLES * below >= 10) & (SAMPLES * (1 - below) >= 10)
    assert _p_value(total, edges[wide], below[wide]) > LEAST_P


def _normals_below(
    quantile: Callable[[ImageArray, ImageArray], None], mean_e: float, edges: FloatArray
) -> FloatArray:
    """Find, by bisection, how probable a value of at most each edge is."""
    low = np.full(edges.shape, -8.0, dtype=np.float32)
    high = -low
    for _ in range(40):  # past float32's 24 bits
        middle = (low + high) / 2
        values = np.full(edges.shape, mean_e, dtype=np.float32)
        quantile(values, np.stack([middle] * 5))
        over = values > edges
        high, low = np.where(over, middle, high), np.where(over, low, middle)
    return np.asarray(norm.cdf(low.astype(float)), dtype=float)


def _excess(below: FloatArray, exact_below: FloatArray) -> float:
    """
    Give the mean rise of chi-square over 10⁸ draws that comes from the wrong distribution.

    It is n Σ (q − p)²/p, here in units of chi-square's own standard deviation √(2 dof).
    """
    draws = 1e8
    keep = (draws * exact_below > 10) & (draws * (1 - exact_below) > 10)
    wrong = np.diff(below[keep], prepend=0.0, append=1.0)
    right = np.diff(exact_below[keep], prepend=0.0, append=1.0)
    gain = draws * ((wrong - right) ** 2 / right).sum()
    return float(gain / np.sqrt(2 * (right.size - 1)))


@pytest.mark.parametrize("mean_e", [sampler.BRIGHT_E, 40.0, 64.0, 100.0, 1e3, 1e4])
def test_no_chi_square_test_could_tell_the_counts(mean_e: float) -> None:
    """Exact, no draws: 10⁸ samples move chi-square by less than a quarter of its spread."""
    counts = np.arange(poisson.ppf(1e-9, mean_e), poisson.isf(1e-9, mean_e))
    below = _normals_below(sampler.poisson_quantile, mean_e, counts)
    exact_below = poisson.cdf(counts, mean_e)
    assert _excess(below, exact_below) < 0.25
    # the expansion leaves 4e-6 at the threshold and less above; at 1e4 float32's grid leaves 2e-6
    assert np.abs(below - exact_below).max() < 5e-6


@pytest.mark.parametrize("mean_e", [0.25, 4.0, 16.0, 64.0, 1e3])
def test_no_chi_square_test_could_tell_the_sums(mean_e: float) -> None:
    """The same for the sum drawn as one, at the least noise for which that is done."""
    sd_e = sampler.FUSED_SD_E
    spread_e = np.hypot(np.sqrt(mean_e), sd_e)
    edges = mean_e + spread_e * np.linspace(-6, 7, 105)

    def quantile(values: ImageArray, scratch: ImageArray) -> None:
        sampler.poisson_normal_quantile(values, sd_e, scratch)

    below = _normals_below(quantile, mean_e, edges)
    assert _excess(below, _sum_cdf(edges, mean_e, sd_e)) < 0.25
