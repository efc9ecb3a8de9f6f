"""
Photon transfer on simulated flat images, read as EMVA 1288 R4.0 RC (March 2021) reads a camera.

A series of exposures; from each, two frames of the same light. Mean (5), temporal variance from two
frames (18), its own uncertainty √(2/NM) (19), the model σ_y² = K²σ_d² + σ_q² + K(μ_y − μ_y.dark)
(14)(15). Lines make the frames, for a line-scan camera counts as an area sensor (section 5).
"""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.testing import assert_array_less
from numpy.typing import NDArray
from scipy.stats import chi2

from linesim.forward.station import station
from linesim.metrics.flat.noise import flat_figures
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import Scan, scan
from tests.stations import plain_setup

LINES, WIDTH = 256, 512
FRAME = LINES // 2 * WIDTH

# The numbers of the camera that the standard simulates in its section 5: 12 bit, η 0.5, dark level
# 29.4 DN, K 0.1 DN/e, σ_d 30 e; here as a line camera without fixed pattern.
BASE = plain_setup(
    "Photon transfer",
    target={"pixel_size": "37.5 um", "width": "40 mm", "height": "20 mm", "white_reflectance": 0.8},
    light={"irradiance": "1 W/m^2", "illuminance": None},
    camera={
        "pixels": WIDTH,
        "quantum_efficiency": 0.5,
        "read_noise": "30 e",
        "gain": "0.1 DN/e",
        "black_level": "29.4 DN",
        "full_well": "45 ke",
    },
    acquisition={"lines": LINES, "exposure": "50 us"},
)


@dataclass(frozen=True)
class Point:
    """One exposure: what two frames show."""

    mean_dn: float
    variance_dn2: float


def two_frames(image_dn: NDArray[np.uint16]) -> Point:
    """Mean of both frames and variance by (18): ½⟨(y₀−y₁)²⟩ − ½(μ₀−μ₁)²."""
    first, second = np.asarray(image_dn, dtype=np.float64).reshape(2, -1)
    offset = first.mean() - second.mean()
    variance = ((first - second) ** 2).mean() / 2 - offset**2 / 2
    return Point(float((first.mean() + second.mean()) / 2), float(variance))


def lit(setup: Setup, signal_e: float) -> Setup:
    """Turn the light until white gives a wanted signal."""
    per_watt_e = station(changed(setup, {"light.irradiance": "1 W/m^2"})).electrons_white
    return changed(setup, {"light.irradiance": f"{float(signal_e / per_watt_e)!r} W/m^2"})


def series(setup: Setup, signals_e: FloatArray) -> list[tuple[Point, Scan]]:
    """One scan a level, each with a seed of its own."""
    scans = [scan(lit(setup, s), seed=100 + k) for k, s in enumerate(signals_e)]
    return [(two_frames(seen.image), seen) for seen in scans]


SIGNALS_E = np.linspace(0, 28_000, 15)  # 0 to 70 % of the 4095 - 29.4 DN of full scale

# Relative standard deviation of a variance from two frames of independent pixels: √(2/NM) for
# Gaussian noise (19). Poisson adds an excess kurtosis of 1/λ: at most 2 % of it at these levels,
# where σ_d² = 900 e² keeps the kurtosis of the sum below λ/(900 + λ)² = 3e-4.
VARIANCE_SD = np.sqrt(2 / FRAME)


@pytest.mark.parametrize("binning", ["1x1", "2x2"])
def test_each_point_meets_mean_and_variance(binning: str) -> None:
    """Mean within 4 σ/√(2NM) and variance within 4 √(2/NM) of the model, dark included."""
    setup = changed(
        BASE, {"acquisition.binning": binning, "camera.pixels": WIDTH * int(binning[0])}
    )
    for signal, (point, _) in zip(SIGNALS_E, series(setup, SIGNALS_E), strict=True):
        mean = 29.4 + 0.1 * signal
        variance = 0.01 * (900 + signal) + 1 / 12
        assert point.mean_dn == pytest.approx(mean, abs=4 * np.sqrt(variance / (2 * FRAME)))
        assert point.variance_dn2 == pytest.approx(variance, rel=4 * VARIANCE_SD)


def test_slope_is_the_gain_and_intercept_the_dark_noise() -> None:
    """
    Weighted line through variance over μ_y − μ_y.dark, free offset (sections 6.6, (49)(50)).

    Slope K = 0.1 DN/e and offset K²σ_d² + 1/12 DN², each within 4 of its own standard deviations;
    χ² of the residuals within its 1e-4 ends.
    """
    points = [point for point, _ in series(BASE, SIGNALS_E)]
    signal = np.array([p.mean_dn for p in points]) - 29.4
    variance = np.array([p.variance_dn2 for p in points])
    sd = VARIANCE_SD * (0.01 * (900 + SIGNALS_E) + 1 / 12)
    design = np.stack([signal, np.ones_like(signal)], axis=1) / sd[:, None]
    covariance = np.linalg.inv(design.T @ design)
    fit = covariance @ design.T @ (variance / sd)
    truth = np.array([0.1, 0.01 * 900 + 1 / 12])
    assert_array_less(np.abs(fit - truth), 4 * np.sqrt(np.diag(covariance)))
    left = float((((variance - signal * fit[0] - fit[1]) / sd) ** 2).sum())
    assert 1e-4 < chi2.sf(left, len(signal) - 2) < 1 - 1e-4


def test_rounding_adds_a_twelfth() -> None:
    """
    Dark frames at K σ_d = 0.5 DN: 0.333331 DN², not 0.25.

    That is the exact sum over the normal law, a mean over all places of the black level between two
    numbers; ten even places stand for all.
    """
    seen = [
        two_frames(
            scan(
                changed(
                    BASE,
                    {
                        "light.irradiance": "0 W/m^2",
                        "camera.read_noise": "5 e",
                        "camera.black_level": f"{30 + phase / 10} DN",
                    },
                ),
                seed=phase,
            ).image
        ).variance_dn2
        for phase in range(10)
    ]
    assert np.mean(seen) == pytest.approx(0.333331, rel=4 * VARIANCE_SD / np.sqrt(10))


def test_dark_current_moves_mean_and_variance_alike() -> None:
    """Dark frames, (29)(30): μ_I t = 2000 e in both, K 0.1 DN/e."""
    setup = changed(BASE, {"camera.dark_current": "40 Me/s", "light.irradiance": "0 W/m^2"})
    point = two_frames(scan(setup, seed=5).image)
    variance = 0.01 * (900 + 2000) + 1 / 12
    assert point.mean_dn == pytest.approx(29.4 + 200, abs=4 * np.sqrt(variance / (2 * FRAME)))
    assert point.variance_dn2 == pytest.approx(variance, rel=4 * VARIANCE_SD)


def test_the_image_says_what_the_budget_says() -> None:
    """
    On white, each measured figure within 4 standard deviations of the closed form.

    Noise is known to √(1/(2·lines·width)); the signal to σ/√(lines·width); SNR to both.
    """
    seen = scan(lit(BASE, 9000.0), seed=9)
    signal, count = seen.budget["signal"], LINES * WIDTH
    noise = float(signal["noise_white_e"])
    sd_noise = np.sqrt(1 / (2 * count))
    sd_signal = noise / np.sqrt(count)
    told = {name: float(signal[name]) for name in seen.measured if name in signal}
    assert set(told) >= {"electrons_white", "noise_white_e", "snr_white", "dn_white"}
    got = seen.measured
    assert got["electrons_white"] == pytest.approx(9000, abs=4 * sd_signal)
    assert got["dn_white"] == pytest.approx(told["dn_white"], abs=0.4 * sd_signal)
    assert got["noise_white_e"] == pytest.approx(noise, rel=4 * sd_noise)
    sd_snr = np.hypot(sd_noise, sd_signal / 9000)
    assert got["snr_white"] == pytest.approx(told["snr_white"], rel=4 * sd_snr)
    assert got["snr_total_white"] == pytest.approx(told["snr_total_white"], rel=4 * sd_snr)


def test_temporal_noise_of_columns_is_that_of_two_frames() -> None:
    """The figure that `scan` gives is the root of (18), within both their uncertainties."""
    seen = scan(lit(BASE, 9000.0), seed=10)
    point = two_frames(seen.image)
    figures = flat_figures(seen.image)
    assert figures.temporal_noise_dn**2 == pytest.approx(point.variance_dn2, rel=4 * VARIANCE_SD)


def test_fixed_pattern_shows_in_the_columns_only() -> None:
    """
    PRNU 2 % and DSNU 50 e: temporal variance stays, the columns' own variance is the pattern's.

    Variance of the 512 column means less temporal/lines, (33) to (44), against
    K²(DSNU² + (PRNU·S)²); a variance from 512 Gaussian values is known to √(2/511).
    """
    setup = changed(lit(BASE, 9000.0), {"camera.prnu": 0.02, "camera.dsnu": "50 e"})
    image = np.asarray(scan(setup, seed=11).image, dtype=np.float64)
    temporal = image.var(axis=0, ddof=1).mean()
    # the columns' own signals differ by 2 %, so their mean Poisson variance is S within 4·2 %/√512
    assert temporal == pytest.approx(
        0.01 * (900 + 9000) + 1 / 12, rel=4 * np.hypot(np.sqrt(2 / image.size), 0.02 / np.sqrt(512))
    )
    columns = image.mean(axis=0).var(ddof=1) - temporal / LINES
    assert columns == pytest.approx(0.01 * (50**2 + 180**2), rel=4 * np.sqrt(2 / 511))
    rows = image.mean(axis=1).var(ddof=1)
    assert rows == pytest.approx(temporal / WIDTH, rel=4 * np.sqrt(2 / 255))
