"""The slanted edge against closed forms and against the steps of ISO 12233, written plainly."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.stats import norm

from linesim.metrics.edge.figures import EdgeResponse, edge_response
from linesim.setup.arrays import FloatArray

if TYPE_CHECKING:
    from tests.outside.conftest import PlainSfr

Curve = Callable[[FloatArray], FloatArray]

# What sampling an edge of sharp square pixels at four bins a pixel folds back onto f:
# M(4-f) sinc((4-f)/4) f/(4-f) / sinc(f/4). At f = 0.5 and 2°: M(3.5) = sinc(3.498) sinc(0.122) =
# 0.0888, and 0.0888 * 0.139 / 7 / 0.974 = 0.0018. Blurred edges hold nothing there.
FOLDED = 0.002
TABLE_CYC_PX = np.array([0.05, 0.1, 0.2, 0.3, 0.4, 0.5])


def distance(
    angle_deg: float, lines: int = 200, width: int = 200, aspect: float = 1.0
) -> FloatArray:
    """Distance of pixel centres from an edge through (almost) the middle, in widths of a pixel."""
    angle = np.radians(angle_deg)
    y, x = np.mgrid[:lines, :width].astype(float)
    across = x - (width - 1) / 2 - 0.17
    return np.asarray(across * np.cos(angle) + aspect * (y - (lines - 1) / 2) * np.sin(angle))


def square_pixel(d: FloatArray, angle_deg: float) -> FloatArray:
    """Edge spread of a 1 x 1 pixel: the integral of one clipped ramp, differenced."""
    a, b = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))

    def ramp(u: FloatArray) -> FloatArray:
        return np.asarray(0.5 * a * np.clip(u / a + 0.5, 0, 1) ** 2 + np.maximum(u - a / 2, 0))

    return np.asarray((ramp(d + b / 2) - ramp(d - b / 2)) / b)


def spread_of(mtf: Curve, d: FloatArray, last_cyc_px: float) -> FloatArray:
    """Edge spread of any symmetric response: ½ + ∫ M(f) sin(2πfd)/(πf) df, by Fourier series."""
    period, count = 4096, 2**18
    k = np.arange(1, int(last_cyc_px * period) + 1)
    terms = np.zeros(count // 2 + 1, dtype=complex)
    terms[k] = mtf(k / period) * count / (2j * np.pi * k)
    half = count * (int(np.abs(d).max()) + 8) // period
    place = np.arange(-half, half + 1)
    u = place * period / count
    # The series repeats every 4096 px; its mean line spread of 1/4096 is integrated as u/4096.
    return np.asarray(CubicSpline(u, np.fft.irfft(terms, count)[place] + 0.5 + u / period)(d))


def pixel_mtf(angle_deg: float) -> Curve:
    """Response of a square pixel along the normal: sinc(f cos) sinc(f sin)."""
    a, b = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return lambda f: np.asarray(np.abs(np.sinc(f * a) * np.sinc(f * b)))


def gauss_mtf(sigma_px: float) -> Curve:
    """Response of a Gaussian: exp(-2π²σ²f²)."""
    return lambda f: np.asarray(np.exp(-2 * (np.pi * sigma_px * f) ** 2))


def lens_mtf(cutoff_cyc_px: float) -> Curve:
    """Circular pupil: (2/π)[arccos ν − ν√(1−ν²)] (textbooks on Fourier optics)."""

    def mtf(f: FloatArray) -> FloatArray:
        v = np.clip(f / cutoff_cyc_px, 0, 1)
        return np.asarray(2 / np.pi * (np.arccos(v) - v * np.sqrt(1 - v * v)))

    return mtf


def product(*parts: Curve) -> Curve:
    """Several blurs in a row."""
    return lambda f: np.asarray(np.prod([part(f) for part in parts], axis=0))


def half_point(mtf: Curve, level: float = 0.5) -> float:
    """Frequency at which a closed form falls to a level. [cycles/px]."""
    return float(brentq(lambda f: float(mtf(np.array([f]))[0]) - level, 1e-3, 0.95))


def curve_error(result: EdgeResponse, mtf: Curve, first_cyc_px: float = 0.0) -> float:
    """Largest error of the curve from a first frequency up to Nyquist."""
    use = (result.frequency_cyc_px >= first_cyc_px) & (result.frequency_cyc_px <= 0.5 + 1e-9)
    return float(np.abs(result.mtf - mtf(result.frequency_cyc_px))[use].max())


def test_half_points_are_the_closed_forms() -> None:
    """
    Half points of common blurs, derived, rounded to the last digit shown.

    Gaussian: σ f = √(ln 2 / 2)/π = 0.187391. Box of width w: 0.603355/w. Square pixel, 5°: 0.6040.
    """
    d = distance(5.0)
    slope = np.cos(np.radians(5.0))
    box = np.clip(d / (2 * slope) + 0.5, 0, 1)
    for edge, expected in (
        (norm.cdf(d / 0.8), 0.187391 / 0.8),
        (norm.cdf(d / 2.0), 0.187391 / 2.0),
        (box, 0.603355 / (2 * slope)),
        (square_pixel(d, 5.0), 0.6040),
    ):
        assert edge_response(20 + 200 * edge).mtf50_cyc_px == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize("angle_deg", [-9.7, -5.0, -2.6, 2.0, 3.3, 5.0, 7.0, 10.0])
@pytest.mark.parametrize("direction", ["across", "along"])
def test_pixel_edges_meet_the_closed_form(angle_deg: float, direction: str) -> None:
    """Sharp and soft pixels, 2° to 10°, both axes: half point 0.5 %, the fold (all derived)."""
    sharp = pixel_mtf(angle_deg)
    soft = product(sharp, gauss_mtf(0.5))
    d = distance(angle_deg)
    for image, truth, allowed in (
        (square_pixel(d, angle_deg), sharp, FOLDED),
        (spread_of(soft, d, 3.0), soft, 0.0005),
    ):
        result = edge_response(image if direction == "across" else image.T)
        assert result.direction == direction
        # The distance grows with x cos + y sin: the edge goes to lower columns for angles above 0.
        assert result.angle_deg == pytest.approx(-angle_deg, abs=0.002)
        assert result.mtf50_cyc_px == pytest.approx(half_point(truth), rel=0.005)
        assert curve_error(result, truth) <= allowed


def test_pixel_and_motion_meet_the_closed_form() -> None:
    """
    A pixel that moves by its own height: sinc² along, half point 0.442946 head on (derived).

    At 5° along the normal: sinc²(f cos) sinc(f sin); Nyquist 0.405285 head on.
    """
    angle = np.radians(5.0)
    truth = product(pixel_mtf(5.0), lambda f: np.asarray(np.abs(np.sinc(f * np.cos(angle)))))
    result = edge_response(spread_of(truth, distance(5.0), 16.0).T)
    assert result.direction == "along"
    assert result.mtf50_cyc_px == pytest.approx(half_point(truth), rel=0.005)
    assert result.mtf_nyquist == pytest.approx(0.405285, abs=0.005 + FOLDED)
    assert curve_error(result, truth) <= FOLDED


@pytest.mark.parametrize("angle_deg", [2.0, 5.0, 10.0])
def test_long_tails_leave_the_curve_alone(angle_deg: float) -> None:
    """
    Diffraction (cut-off 1.2 cycles/px) and pixel on 400 x 400 and 800 x 400 px (derived).

    Light beyond a reach x lifts the curve by 4/(π³ f_c x) = 0.107/x; the mean of 1/x over the outer
    quarter of the region, where the step is read, is 1.15/X: 0.124/X.
    """
    truth = product(lens_mtf(1.2), pixel_mtf(angle_deg))
    for lines in (400, 800):
        image = spread_of(truth, distance(angle_deg, lines, 400), 1.2)
        result = edge_response(20 + 200 * image)
        assert curve_error(result, truth, 0.02) <= 0.124 / result.half_width_px + 0.0003
        assert result.mtf50_cyc_px == pytest.approx(half_point(truth), rel=0.005)
        assert curve_error(result, truth, 0.02) <= 0.0015
        assert result.mtf50_cyc_px == pytest.approx(half_point(truth), rel=0.002)


def half_of(frequency_cyc_px: FloatArray, mtf: FloatArray) -> float:
    """First frequency at which a curve falls to one half. [cycles/px]."""
    below = int(np.argmax(mtf < 0.5))
    two = slice(below - 1, below + 1)
    return float(np.interp(-0.5, -mtf[two], frequency_cyc_px[two]))


@pytest.mark.parametrize("name", ["gauss", "pixel", "soft", "box"])
def test_the_steps_of_the_standard_read_the_same(name: str, iso_sfr: "PlainSfr") -> None:
    """
    Curves with the bins left in, and with them divided out, beside the steps of ISO 12233:2014.

    These depart from (closed form x sinc(f/4)) by up to 0.003, for their window stands on the peak
    and not on the edge; the fold comes on top. A half point is off by up to that over the slope,
    above 1.2.
    """
    d = distance(5.0)
    soft = product(pixel_mtf(5.0), gauss_mtf(0.5))
    image = {
        "gauss": norm.cdf(d / 0.8),
        "pixel": square_pixel(d, 5.0),
        "soft": spread_of(soft, d, 3.0),
        "box": np.clip(d / (2 * np.cos(np.radians(5.0))) + 0.5, 0, 1),
    }[name]
    frequency, mtf = iso_sfr(20 + 200 * image)
    curve = np.interp(TABLE_CYC_PX, frequency, mtf)
    with_bins = edge_response(20 + 200 * image, undo_bin_width=False)
    without = edge_response(20 + 200 * image)
    read = np.interp(TABLE_CYC_PX, with_bins.frequency_cyc_px, with_bins.mtf)
    undone = np.interp(TABLE_CYC_PX, without.frequency_cyc_px, without.mtf)
    allowed = 0.003 + FOLDED
    assert_allclose(read, curve, rtol=0, atol=allowed)
    assert_allclose(undone, curve / np.sinc(TABLE_CYC_PX / 4), rtol=0, atol=allowed)
    assert with_bins.mtf50_cyc_px == pytest.approx(half_of(frequency, mtf), abs=allowed / 1.2)


def test_left_in_bins_cost_two_and_a_half_percent() -> None:
    """Four bins a pixel multiply by sinc(f/4): 0.974495 at Nyquist (derived)."""
    image = norm.cdf(distance(5.0) / 0.8)
    kept = edge_response(image, undo_bin_width=False).mtf_nyquist
    assert kept / edge_response(image).mtf_nyquist == pytest.approx(0.974495, abs=1e-6)


@pytest.mark.parametrize("sigma_px", [0.6, 0.8, 2.0])
def test_rise_of_a_gaussian(sigma_px: float) -> None:
    """From 10 % to 90 % of a Gaussian edge: 2 x 1.281552 σ (`scipy.stats.norm`)."""
    result = edge_response(norm.cdf(distance(5.0) / sigma_px))
    assert result.rise_10_90_px == pytest.approx(2 * 1.281552 * sigma_px, rel=0.003)
    assert result.overshoot == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("bits", [8, 12, 16])
@pytest.mark.parametrize("angle_deg", [2.0, 5.0, 10.0])
@pytest.mark.parametrize("direction", ["across", "along"])
def test_whole_numbers_are_enough(bits: int, angle_deg: float, direction: str) -> None:
    """Rounded to 8, 12, 16 bit, levels at a fifth and four fifths of the scale (derived)."""
    truth = product(pixel_mtf(angle_deg), gauss_mtf(0.5))
    scale = 2**bits - 1
    spread = spread_of(truth, distance(angle_deg), 3.0)
    image = np.floor(scale * (0.2 + 0.6 * spread) + 0.5)
    image = image.astype(np.uint8 if bits == 8 else np.uint16)
    result = edge_response(image if direction == "across" else image.T)
    assert result.mtf50_cyc_px == pytest.approx(half_point(truth), rel=0.005)
    assert curve_error(result, truth) <= 0.01


@pytest.mark.parametrize(("angle_deg", "aspect"), [(6.0, 1.6), (6.0, 0.5), (-4.0, 1.25)])
def test_oblong_samples_keep_the_normal(angle_deg: float, aspect: float) -> None:
    """
    Lines `aspect` pixel widths apart, apertures as tall: angle and frequencies stay physical.

    Derived: along the normal sinc(f w cos) sinc(f h sin), in cycles per unit; w = 10 units.
    """
    a, b = np.cos(np.radians(angle_deg)), aspect * np.sin(np.radians(angle_deg))
    truth = product(lambda f: np.asarray(np.sinc(f * a) * np.sinc(f * b)), gauss_mtf(0.6))
    image = spread_of(truth, distance(angle_deg, aspect=aspect), 3.0)
    result = edge_response(image, pixel_pitch=(10.0 * aspect, 10.0))
    assert result.angle_deg == pytest.approx(-angle_deg, abs=0.002)
    assert curve_error(result, truth) <= 0.001
    assert result.mtf50_cyc_px is not None
    half = result.mtf50_cyc_px / result.pitch
    assert half == pytest.approx(half_point(truth) / 10.0, rel=0.002)
    turned = edge_response(image.T, pixel_pitch=(10.0, 10.0 * aspect))
    assert (turned.direction, result.direction) == ("along", "across")
    assert turned.mtf50_cyc_px == pytest.approx(half * turned.pitch, rel=1e-9)


@pytest.mark.parametrize("step_to_noise", [20.0, 60.0])
def test_noise_leaves_no_bias(step_to_noise: float) -> None:
    """
    Thirty noisy edges: the mean half point within four of its own standard errors (derived).

    The spread of the curve at 0.25 cycles/px agrees with the figure that each edge gives for itself
    (the standard deviation of 30 values is known to 1/√58 = 13 %; four of these).
    """
    truth = product(pixel_mtf(5.0), gauss_mtf(0.5))
    image = spread_of(truth, distance(5.0), 3.0)
    runs = [
        edge_response(image + np.random.default_rng(seed).normal(0, 1 / step_to_noise, image.shape))
        for seed in range(30)
    ]
    half = np.array([run.mtf50_cyc_px for run in runs], dtype=float)
    error = half.std(ddof=1) / np.sqrt(half.size)
    assert half.mean() == pytest.approx(half_point(truth), abs=4 * error)
    quarter = np.array([np.interp(0.25, run.frequency_cyc_px, run.mtf) for run in runs])
    told = float(np.mean([run.mtf_noise for run in runs]))
    assert quarter.std(ddof=1) == pytest.approx(told, rel=4 / np.sqrt(58))
    # White noise of an edge, differentiated, grows with f; over the slope it moves the half point.
    f = half_point(truth)
    slope = float(np.diff(truth(np.array([f + 0.001, f - 0.001])))[0]) / 0.002
    assert half.std(ddof=1) == pytest.approx(told * f / 0.25 / slope, rel=4 / np.sqrt(58))
