"""What wells and words leave of a level, against electrons drawn one by one."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.forward.kept import CLIPPED_SHARE, kept, limit_share
from linesim.forward.station import Station, station
from linesim.setup.load import changed, sample_setup

COUNT = 400_000
BASE = {
    "camera.prnu": 0.0,
    "camera.dsnu": "0 e",
    "camera.full_well": "10 ke",
    "camera.read_noise": "30 e",
    "camera.gain": "0.35 DN/e",
    "camera.black_level": 30,
}
KINDS: dict[str, dict[str, object]] = {
    "well": {"camera.gain": "0.2 DN/e"},
    "word": {"camera.full_well": "100 ke"},
    "joined well": {"acquisition.binning": "2x2", "camera.binned_full_well": "9 ke",
     "camera.gain": "0.3 DN/e"},
    "sum of numbers": {"acquisition.binning": "2x1", "acquisition.binning_domain": "digital"},
    "mean of numbers": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital",
     "acquisition.binning_mode": "average", "camera.full_well": "100 ke"},
}  # fmt: skip


def numbers_of(kind: str) -> Station:
    """One of the stations."""
    return station(changed(sample_setup(), {**BASE, **KINDS[kind]}))


def drawn(numbers: Station, signal_e: float, seed: int) -> tuple[np.ndarray, float]:
    """Draw samples in the order of the light, unrounded, and the largest share that is cut."""
    rng, sensor = np.random.default_rng(seed), numbers.sensor
    pixels, reads = int(numbers.geometry.pixels_joined), int(numbers.reads)
    each = rng.poisson((signal_e + float(numbers.dark_e)) / pixels, (COUNT, pixels))
    cut = [np.mean(each >= float(sensor.full_well_e))]
    each = np.minimum(each, float(sensor.full_well_e))
    word_e = float((sensor.full_scale_dn - sensor.black_level_dn) / sensor.gain_dn_e)
    charge = each.reshape(COUNT, reads, -1).sum(axis=2).astype(float)
    if reads == 1 and pixels > 1:
        cut.append(np.mean(charge >= float(sensor.binned_full_well_e)))
        charge = np.minimum(charge, float(sensor.binned_full_well_e))
    charge += float(sensor.read_noise_e) * rng.standard_normal(charge.shape)
    cut.append(np.mean(charge >= word_e))
    total = np.minimum(charge, word_e).sum(axis=1)
    if sensor.averaged == 1:
        cut.append(np.mean(total >= word_e))
    return np.minimum(total, word_e * float(sensor.averaged)), float(np.max(cut))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [0.8, 0.99, 1.0, 1.02])
def test_mean_noise_and_slope_are_those_of_drawn_samples(kind: str, share: float) -> None:
    """
    Around every limit: mean and spread within 4.5 standard errors, and 2 % of the spread.

    2 %: what is left behind one limit counts as normal for the next.
    """
    numbers = numbers_of(kind)
    signal_e = share * float(numbers.saturation_e)
    (seen, _), left = drawn(numbers, signal_e, 1), kept(numbers, signal_e)
    noise_e = np.sqrt(float(left.noise_e) ** 2 - float(numbers.rounding_e2))
    error_e = seen.std() / np.sqrt(COUNT)
    assert abs(seen.mean() - float(left.charge_e)) < 4.5 * error_e + 0.02 * noise_e
    assert_allclose(seen.std(), noise_e, rtol=0.03, atol=1e-6)
    step_e = 20.0
    more = kept(numbers, signal_e + step_e).charge_e - kept(numbers, signal_e - step_e).charge_e
    assert_allclose(float(left.slope), float(more) / (2 * step_e), atol=0.01)


@pytest.mark.parametrize("kind", KINDS)
def test_far_from_limits_all_is_kept(kind: str) -> None:
    """At a third of the nearest limit charge, noise and slope are those of the linear model."""
    numbers = numbers_of(kind)
    signal_e = float(numbers.saturation_e) / 3
    left = kept(numbers, signal_e)
    assert_allclose(left.charge_e, signal_e + numbers.dark_e, rtol=1e-14)
    assert_allclose(left.noise_e, numbers.noise_e(signal_e), rtol=1e-12)
    assert float(left.slope) == 1.0


@pytest.mark.parametrize("kind", KINDS)
def test_at_a_share_of_one_a_sample_in_a_thousand_clips(kind: str) -> None:
    """The level that just fits clips at most 0.1 % of what is drawn; one 2 % higher clips more."""
    numbers = numbers_of(kind)
    low, high = 0.0, 2 * float(numbers.saturation_e)
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if float(limit_share(numbers, middle)) < 1 else (low, middle)
    error = 4.5 * np.sqrt(CLIPPED_SHARE / COUNT)
    assert drawn(numbers, low, 3)[1] < CLIPPED_SHARE + error
    assert drawn(numbers, 1.02 * low, 4)[1] > CLIPPED_SHARE


def test_a_clipped_white_has_no_signal_to_noise() -> None:
    """Where every sample is full, a change of the light changes nothing: the slope is 0."""
    numbers = numbers_of("well")
    left = kept(numbers, 3 * float(numbers.saturation_e))
    assert float(left.slope) < 1e-9
    assert_allclose(left.charge_e, numbers.sensor.full_well_e, rtol=1e-3)
