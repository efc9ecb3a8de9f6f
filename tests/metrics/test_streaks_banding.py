"""Streaks and bands: found where they are, at their strength, and not where there are none."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm

from linesim.metrics.flat.banding import banding
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.flat.streaks import WHITE, high_pass, streaks

NONE = Estimate(value=0.0, sd=0.0)
TRIALS = 200


def test_the_high_pass_keeps_white_noise() -> None:
    """
    Columns less the mean of five have variance 1 - 1/5 = 0.80, run 0.7992 on 4e6 values: undone.

    4e5 values, of which 1.45 tell as much as one: the variance is known to √(2 x 1.45/4e5).
    """
    white = np.random.default_rng(1).standard_normal(400_000)
    assert pytest.approx(0.894, abs=5e-4) == WHITE
    assert high_pass(white).var() == pytest.approx(1, abs=4 * np.sqrt(2.9 / 400_000))
    # the filter's squared autocorrelation, by hand: 0.8, -0.24, -0.28, 0.08, 0.04
    weights = np.full(5, -0.2) + np.eye(5)[2]
    alike = np.correlate(weights, weights, "full") / 0.8
    assert_allclose(alike[4:], [1, -0.3, -0.35, 0.1, 0.05], atol=1e-12)
    assert (alike**2).sum() == pytest.approx(1.45)


def test_slow_shading_is_no_streak() -> None:
    """A slope leaves nothing; a parabola that loses 30 % to each end leaves 2·0.3·100/50² of it."""
    place = np.linspace(-1, 1, 101)
    assert_allclose(high_pass(100 + 20 * place), 0, atol=1e-12)
    # second difference of the box: mean of (4, 1, 0, 1, 4) steps² is 2
    assert_allclose(high_pass(100 - 30 * place**2) * WHITE, 2 * 30 / 50**2, rtol=1e-9)


def test_streaks_of_known_strength() -> None:
    """
    Pattern of 2, noise of 1 in each column: the variance comes back with its error.

    400 draws of noise on one pattern of 500 columns; 4 standard errors of the mean, and 4/√800 and
    5 % for the error of the error.
    """
    rng = np.random.default_rng(2)
    fixed = rng.normal(0, 2, 500)
    found = [
        streaks(1000 + fixed + rng.normal(0, 1, 500), Estimate(value=1.0, sd=0.0)).variance_dn2
        for _ in range(TRIALS)
    ]
    values, error = np.array([each.value for each in found]), np.mean([each.sd for each in found])
    truth = float((high_pass(fixed) ** 2).mean())
    assert values.mean() == pytest.approx(truth, abs=4 * error / np.sqrt(TRIALS))
    assert values.std(ddof=1) == pytest.approx(error, rel=4 / np.sqrt(2 * TRIALS) + 0.05)


def test_the_worst_columns_are_named() -> None:
    """
    Two columns made 40 and -25 DN off are first and second, at that height; neighbours are not.

    A column above four others is known to √(1 + 1/4) of their spread of 1 DN: 4 of these.
    """
    line = 500 + np.random.default_rng(3).normal(0, 1, 300)
    line[[70, 200]] += (40, -25)
    found = streaks(line, NONE)
    first, second, third = found.worst[:3]
    assert (first.column, second.column, found.count) == (70, 200, 2)
    assert first.excess_dn == pytest.approx(40, abs=4 * np.sqrt(1.25))
    assert second.excess_dn == pytest.approx(-25, abs=4 * np.sqrt(1.25))
    assert abs(third.strength) < found.limit
    assert len(found.worst) == 5


def test_false_alarms_among_white_columns() -> None:
    """
    Lines of 1000 white columns: about one in a hundred has a column beyond the limit.

    The spread is a median's, known to s = 1.165 √(1.45/996) = 4.4 % (P. J. Rousseeuw and C. Croux,
    J. Am. Stat. Assoc. 88 (1993), 1273: efficiency 37 %, from memory). A tail at k = 4.4 then grows
    on average by exp((k² s)²/2) = 1.46: of 400 lines 5.8 are expected, at most 5.8 + 4 √5.8 = 15.
    Beyond 2 standard deviations lies the share of a normal variable, 4.55 %; a spread that errs
    by s moves it by 2 φ(2) 2 s, of which 400 lines leave a twentieth.
    """
    rng = np.random.default_rng(4)
    found = [streaks(rng.normal(0, 3, 1000), NONE) for _ in range(TRIALS)]
    assert found[0].limit == pytest.approx(norm.isf(0.005 / 996), rel=1e-12)
    assert sum(each.count > 0 for each in found) <= 15
    strength = np.concatenate([each.high_pass_dn / each.spread_dn for each in found])
    error = np.hypot(4 * norm.pdf(2) * 0.044, np.sqrt(0.0455 * 1.45 / 996)) / np.sqrt(TRIALS)
    assert np.mean(np.abs(strength) > 2) == pytest.approx(2 * norm.sf(2), abs=4 * error)


def test_equal_columns_have_no_streaks() -> None:
    """Without any spread nothing is found, and nothing fails."""
    found = streaks(np.full(50, 80.0), NONE)
    assert (found.count, found.worst, found.spread_dn) == (0, (), 0)


def test_a_wave_is_found_as_exactly_as_can_be() -> None:
    """
    Amplitude and frequency scatter no more than the bound for a wave in white noise.

    Cramér and Rao: √(2/n) σ for the amplitude, √6 σ/(π a n^1.5) for the frequency (D. C. Rife and
    R. R. Boorstyn, IEEE Trans. Inf. Theory 20 (1974), 591, from memory). Off the grid of the
    transform, on a slope. Detrending costs little at 24 cycles: 5 %, and 4/√(2·200).
    """
    rng, count = np.random.default_rng(5), 1000
    at = np.arange(count)
    wave = 500 + 0.01 * at + np.cos(2 * np.pi * 0.0243 * at + 1)
    found = [banding(wave + rng.standard_normal(count)) for _ in range(TRIALS)]
    for values, truth, bound in (
        ([each.frequency_cyc_line for each in found], 0.0243, np.sqrt(6) / np.pi / count**1.5),
        ([each.amplitude_dn.value for each in found], 1.0, np.sqrt(2 / count)),
    ):
        assert np.std(values, ddof=1) == pytest.approx(bound, rel=4 / np.sqrt(2 * TRIALS) + 0.05)
        assert np.mean(values) == pytest.approx(truth, abs=5 * bound / np.sqrt(TRIALS))
    assert found[0].amplitude_dn.sd == pytest.approx(np.sqrt(2 / count), rel=4 / np.sqrt(2 * count))
    assert max(each.chance for each in found) < 1e-9


def test_white_lines_have_bands_by_chance_as_told() -> None:
    """
    The chance is uniform where there is no wave: 5 % of 200 lie below 5 %.

    Binomial: √(0.05 x 0.95/200) = 0.0154; 4 of these.
    """
    rng = np.random.default_rng(6)
    chance = np.array([banding(rng.standard_normal(300)).chance for _ in range(TRIALS)])
    assert np.mean(chance < 0.05) == pytest.approx(0.05, abs=4 * 0.0154)


def test_odd_lines() -> None:
    """Lines without any change have no wave; the fastest wave, every other line, is found."""
    still = banding(np.full(333, 7.3))  # whose mean is not exactly 7.3
    assert still.amplitude_dn.value == pytest.approx(0, abs=1e-9)
    assert still.chance == 1.0
    fast = banding(100 + 3.0 * np.cos(2 * np.pi * 0.49 * np.arange(200)))
    assert fast.frequency_cyc_line == pytest.approx(0.49, abs=1e-5)
    with pytest.raises(ValueError, match="at least 16"):
        banding(np.zeros(15))
