"""Errors carried through, intervals, saturation, linearity, and what the dark gathers with time."""

import os
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.metrics.camera.figures import transfer
from linesim.metrics.camera.linearity import linearity
from linesim.metrics.camera.saturation import saturation
from linesim.metrics.camera.series import Moments, Series
from linesim.metrics.camera.transfer import photon_transfer
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.interval import Interval, carried, interval, root_interval
from linesim.setup.arrays import FloatArray

LOOKS = 1000 if "LINESIM_NIGHTLY" in os.environ else 50
SIDE = 1.959964  # 97.5 % point of the normal law, handbook table
GAIN, DARK_E, BLACK_DN, SAMPLES = 0.1, 20.0, 100.0, 10_000
SIGNAL_E = np.linspace(1000, 40_000, 40)
DARKS_US = np.array([100.0, 1000.0, 2000.0])


def moments_from(mean_dn: FloatArray, variance_dn2: FloatArray) -> Moments:
    """Take what somebody has read off two frames each; errors by EMVA 1288 R4.0 RC, (18), (19)."""
    return Moments(
        mean_dn=mean_dn,
        temporal_dn2=variance_dn2,
        mean_sd_dn=np.sqrt(variance_dn2 / (2 * SAMPLES)),
        temporal_sd_dn2=variance_dn2 * np.sqrt(2 / SAMPLES),
    )


def model_series(
    signal_e: FloatArray = SIGNAL_E, current_e_s: float = 0.0, gain_dn_e: float = GAIN
) -> Series:
    """Means and variances of a camera by the standard's model (14)(15), lit at 100 µs."""
    dark_e = current_e_s * 1e-6 * DARKS_US

    def variance(electrons: FloatArray) -> FloatArray:
        return np.asarray(gain_dn_e**2 * (DARK_E**2 + electrons) + 1 / 12)

    lit_e = signal_e + dark_e[0]
    return Series(
        light=signal_e / 0.5,
        lit=moments_from(BLACK_DN + gain_dn_e * lit_e, variance(lit_e)),
        dark=moments_from(BLACK_DN + gain_dn_e * dark_e, variance(dark_e)),
        dark_exposure_us=DARKS_US,
        dark_of=np.zeros(signal_e.size, dtype=np.intp),
    )


def test_errors_are_carried_as_calculus_says() -> None:
    """For a·b and a/b: b·sa, a·sb and sa/b, −a·sb/b²; the moved step errs by 1e-8."""
    values, sds = np.array([3.0, 5.0]), np.array([0.1, 0.2])
    found = carried(lambda x: np.array([x[0] * x[1], x[0] / x[1]]), values, sds)
    assert_allclose(found, [[0.5, 0.6], [0.02, -0.024]], rtol=1e-6)


def test_ends_of_intervals() -> None:
    """1.96 standard errors to each side; of a root the roots of the variance's own ends."""
    plain = interval(Estimate(value=10.0, sd=2.0))
    assert_allclose((plain.low, plain.high), (10 - 2 * SIDE, 10 + 2 * SIDE), rtol=1e-6)
    assert interval(Estimate(value=1.0, sd=2.0), low=0.0).low == 0.0
    root = root_interval(Estimate(value=-1.0, sd=5.0))
    assert (root.value, root.low) == (0.0, 0.0)
    assert root.high == pytest.approx(np.sqrt(5 * SIDE - 1), rel=1e-6)
    assert plain.times(2.0) == Interval(value=20.0, low=2 * plain.low, high=2 * plain.high)


def test_the_model_comes_back() -> None:
    """A camera that is the model itself gives K, η, σ_d, black level and its own saturation."""
    series = model_series()
    found = transfer(series, saturation(series)).figures
    wanted = {
        "gain_dn_e": GAIN,
        "gain_free_offset_dn_e": GAIN,
        "efficiency": 0.5,
        "dark_noise_e": DARK_E,
        "read_noise_e": DARK_E,
        "black_level_dn": BLACK_DN,
        "saturation_e": 40_000,
        "snr_max": 200,
        "dark_current_mean_e_s": 0,
        "dark_current_variance_e_s": 0,
    }
    for name, value in wanted.items():
        assert found[name].value == pytest.approx(value, rel=1e-9, abs=1e-6), name


def test_dark_current_by_mean_and_by_variance() -> None:
    """(29)(30): mean and variance both grow by μ_I t; σ_d at 100 µs holds it, at 0 it is gone."""
    series = model_series(current_e_s=50_000)
    found = transfer(series, saturation(series)).figures
    assert found["dark_current_mean_e_s"].value == pytest.approx(50_000, rel=1e-9)
    assert found["dark_current_variance_e_s"].value == pytest.approx(50_000, rel=1e-9)
    assert found["dark_noise_e"].value == pytest.approx(np.sqrt(DARK_E**2 + 5), rel=1e-9)
    assert found["read_noise_e"].value == pytest.approx(DARK_E, rel=1e-9)


def test_each_step_has_the_dark_of_its_exposure() -> None:
    """Light by exposure time, 5 e of dark signal at 100 µs and 100 e at 2000 µs: K and η stay."""
    base = model_series(current_e_s=50_000)
    dark_of = np.repeat([0, 1, 2], [10, 10, 20])
    lit = replace(
        base.lit,
        mean_dn=base.lit.mean_dn - base.dark.mean_dn[0] + base.dark.mean_dn[dark_of],
        temporal_dn2=base.lit.temporal_dn2
        - base.dark.temporal_dn2[0]
        + base.dark.temporal_dn2[dark_of],
    )
    series = replace(base, lit=lit, dark_of=dark_of)
    found = transfer(series, saturation(series)).figures
    assert found["gain_dn_e"].value == pytest.approx(GAIN, rel=1e-9)
    assert found["efficiency"].value == pytest.approx(0.5, rel=1e-9)


def test_intervals_shrink_with_the_samples() -> None:
    """A hundred times the samples: ends ten times nearer, of every figure that noise moves."""
    few = model_series()
    many = replace(few, lit=shrunk(few.lit), dark=shrunk(few.dark))
    wide = transfer(few, saturation(few)).figures
    narrow = transfer(many, saturation(many)).figures
    for name, each in wide.items():
        other = narrow[name]
        assert each.high - each.value == pytest.approx(10 * (other.high - other.value), rel=1e-4)


def test_intervals_are_as_wide_as_the_scatter() -> None:
    """
    50 looks at one camera: each figure scatters by its interval's half over 1.96.

    A standard deviation from 50 values is known to 1/√100 of itself: within 4 of these.
    """
    rng = np.random.default_rng(8)
    series = model_series(np.linspace(2000, 40_000, 9), current_e_s=50_000)
    full = saturation(series)
    looks = [
        transfer(
            series.having(series.values() + series.sds() * rng.standard_normal(series.sds().size)),
            full,
        ).figures
        for _ in range(LOOKS)
    ]
    for name in looks[0]:
        scatter = np.std([each[name].value for each in looks], ddof=1)
        told = np.mean([each[name].high - each[name].value for each in looks]) / SIDE
        assert scatter == pytest.approx(told, rel=4 / np.sqrt(2 * LOOKS)), name


def shrunk(looks: Moments) -> Moments:
    """Know the same ten times better."""
    return replace(
        looks, mean_sd_dn=looks.mean_sd_dn / 10, temporal_sd_dn2=looks.temporal_sd_dn2 / 10
    )


def test_rounding_hides_a_small_dark_noise() -> None:
    """Below 0.24 DN² the dark counts as 0.49 DN, σ_d as 0.40/K (54), C.4; both are limits."""
    series = model_series(gain_dn_e=0.01)  # 0.04 + 1/12 = 0.123 DN²
    found = transfer(series, saturation(series))
    assert found.dark_noise_is_limit
    assert found.figures["dark_noise_dn"].value == 0.49
    assert found.figures["dark_noise_e"].value == pytest.approx(40, abs=0.5)
    assert not transfer(model_series(), saturation(model_series())).dark_noise_is_limit


SHARES = {
    "none at the top": ([0, 0, 0, 0, 0], 4, "end"),
    "a few": ([0, 0, 0, 0.0019, 0.0021], 3, "share"),
    "all at once": ([0, 0, 0.7, 1, 1], 1, "share"),
}


@pytest.mark.parametrize(("shares", "step", "rule"), SHARES.values(), ids=SHARES)
def test_saturation_by_the_share_at_the_top(shares: list[float], step: int, rule: str) -> None:
    """The last step with no more than 0.2 % at the top; without any, the series does not end."""
    series = replace(model_series(np.linspace(1, 5, 5)), share_at_top=np.array(shares))
    found = saturation(series)
    assert (found.step, found.rule) == (step, rule)


def test_saturation_by_the_peak_of_the_variance() -> None:
    """Where no sample reaches the top, the peak tells it; both are told where both can be."""
    series = model_series(np.linspace(1000, 5000, 5))
    bent = series.lit.temporal_dn2 * np.array([1, 1, 1, 0.6, 0.1])
    bent_series = replace(series, lit=replace(series.lit, temporal_dn2=bent))
    assert (saturation(bent_series).step, saturation(bent_series).rule) == (2, "variance")
    both = replace(bent_series, share_at_top=np.array([0, 0, 0.0, 0.0, 0.5]))
    found = saturation(both)
    assert (found.rule, found.by_share, found.by_variance) == ("share", 3, 2)


def test_a_series_that_starts_saturated_is_refused() -> None:
    """No step is below saturation, or below 70 % of it: nothing can be fitted."""
    series = replace(model_series(np.array([1e3, 2e3])), share_at_top=np.array([0.5, 1]))
    with pytest.raises(ValueError, match="dimmest"):
        saturation(series)
    late = model_series(np.array([9e3, 1e4]))
    with pytest.raises(ValueError, match="70%"):
        transfer(late, saturation(late))


def test_a_variance_that_falls_is_no_gain() -> None:
    """Frames in which light takes noise away are no photon transfer."""
    series = model_series()
    flat = series.dark.temporal_dn2[0] - np.linspace(1, 0.9, series.light.size)
    lit = replace(series.lit, temporal_dn2=flat)
    with pytest.raises(ValueError, match="does not rise"):
        transfer(replace(series, lit=lit), saturation(replace(series, lit=lit)))


def test_linearity_of_a_known_bend() -> None:
    """
    Signal L·(1 + c·L) with weights 1/signal: the line of least relative squares, done by hand.

    Normal equations of (a + b·x)/y ≈ 1: the two sums below; deviations are y/(a + b·x) − 1.
    """
    series = model_series()
    bend = series.signal_dn * (1 + 1e-5 * series.signal_dn)
    lit = replace(series.lit, mean_dn=BLACK_DN + bend)
    found = linearity(replace(series, lit=lit), 4000.0)
    assert found is not None
    used = (bend >= 200) & (bend <= 3800)
    x, y = series.light[used], bend[used]
    design = np.stack([1 / y, x / y], axis=1)
    offset, slope = np.linalg.solve(design.T @ design, design.sum(axis=0))
    deviation = y / (offset + slope * x) - 1
    assert_allclose(found.deviation, deviation, rtol=0, atol=1e-12)
    assert_allclose((found.offset_dn, found.slope_dn), (offset, slope), rtol=1e-9)
    assert found.linearity_error.value == pytest.approx(np.abs(deviation).mean(), rel=1e-9)
    assert found.steps.size == used.sum()


def test_noise_alone_is_no_bend() -> None:
    """
    100 straight cameras with noise: the interval of the error holds 0 in 92 to 100 cases.

    Only its lower end can miss, 2.5 % of the time: 97.5 of 100 with √(100·0.975·0.025) = 1.56, 4 of
    these down. A bend of ten times the noise is never taken for none.
    """
    rng = np.random.default_rng(3)
    series = model_series(np.linspace(1000, 40_000, 12))
    held = 0
    for _ in range(100):
        noise = series.sds() * rng.standard_normal(series.sds().size)
        found = linearity(series.having(series.values() + noise), 4000.0)
        assert found is not None
        held += found.linearity_error.low == 0.0
    assert 92 <= held <= 100
    bent = series.signal_dn * (1 + 1e-5 * series.signal_dn)
    clear = linearity(replace(series, lit=replace(series.lit, mean_dn=BLACK_DN + bent)), 4000.0)
    assert clear is not None
    assert clear.linearity_error.low > 0


def test_too_few_steps_have_no_linearity() -> None:
    """Two points always lie on a line."""
    assert linearity(model_series(np.array([1e3, 2e3])), 200.0) is None


def test_only_steps_up_to_seventy_percent_count() -> None:
    """A step above 70 % of saturation, however wrong, changes nothing (EMVA 1288 R4.0 RC, 6.6)."""
    mean_dn = BLACK_DN + np.linspace(0, 3000, 30)
    variance_dn2 = 4.0 + GAIN * (mean_dn - BLACK_DN)
    spoilt = np.append(variance_dn2[:-1], 0.0)
    limit_dn = 3000 / 0.7
    kept = photon_transfer(mean_dn, variance_dn2, saturation_dn=0.9999 * limit_dn, samples=SAMPLES)
    assert kept == photon_transfer(
        mean_dn, spoilt, saturation_dn=0.9999 * limit_dn, samples=SAMPLES
    )
    assert kept != photon_transfer(
        mean_dn, spoilt, saturation_dn=1.0001 * limit_dn, samples=SAMPLES
    )
