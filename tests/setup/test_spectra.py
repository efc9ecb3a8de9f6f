"""Spectra: what is taken and refused, and sums that have a closed form."""

import dataclasses
import math
import pickle
from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.stats import norm

from linesim.setup.errors import InputError
from linesim.setup.light.light_tables import illuminant_curves, photopic_curve
from linesim.setup.light.spectra import PHOTONS_PER_J_NM, Spectrum
from linesim.setup.light.sums import merged, split_integral

SIGMA_PER_WIDTH = 1.0 / math.sqrt(8.0 * math.log(2.0))
ROUNDING = 1e-12  # a few thousand float64 terms of one sign: 1000 · 2e-16, and room


def _flat(start_nm: float, stop_nm: float) -> Spectrum:
    return Spectrum.tabulated(np.array([start_nm, stop_nm]), np.ones(2), "flat")


def test_names_are_found_in_any_case() -> None:
    """Case and spaces around a name do not matter; the light keeps its CIE name."""
    assert Spectrum.named(" led-b3 ") == Spectrum.named("LED-B3")
    assert Spectrum.named("led-b3").name == "LED-B3"


@pytest.mark.parametrize("name", illuminant_curves())
def test_named_lights_are_normalised_on_one_grid(name: str) -> None:
    """Every illuminant has its power within 380-780 nm, and its weights sum to 1."""
    light = Spectrum.named(name)
    assert_array_equal(light.wavelength_nm, np.arange(380.0, 781.0))
    assert np.trapezoid(light.weight_per_nm, light.wavelength_nm) == pytest.approx(1, abs=ROUNDING)
    assert light.invisible_share == 0.0


def test_unknown_name_tells_the_nearest_and_all() -> None:
    """A misspelt name is refused with the likely ones first and the whole list after."""
    with pytest.raises(InputError, match=r"'LED-B9' is not known \(nearest: .*LED-B3.*E, FL2"):
        Spectrum.named("LED-B9")
    with pytest.raises(InputError, match="'moon' is not known, expected one of A, D50"):
        Spectrum.named("moon")


@pytest.mark.parametrize("width_nm", [0.001, 0.1, 5.0, 35.0, 150.0])
def test_gaussian_has_its_mean_and_width(width_nm: float) -> None:
    """
    Mean and variance are those asked for, from a laser line to a broad lamp.

    The variance of the sampled Gaussian is exact but for the tails cut at 6 σ (1e-7 of it); its
    photon mean is λ₀ + σ²/λ₀. Wavelengths hold to 2e-16 of 550 nm, so the variance of the
    narrowest line (σ = 4e-4 nm) to 1e-9.
    """
    light = Spectrum.gaussian(550.0, width_nm)
    variance = (SIGMA_PER_WIDTH * width_nm) ** 2
    offset = light.wavelength_nm - 550.0
    got = np.trapezoid(light.weight_per_nm * offset**2, light.wavelength_nm)
    assert light.energy_mean_wavelength_nm == pytest.approx(550.0, rel=ROUNDING, abs=0.0)
    assert got == pytest.approx(variance, rel=2e-7, abs=0.0)
    shift, room = variance / 550.0, 2e-7 * variance / 550.0 + 550.0 * ROUNDING
    assert light.photon_mean_wavelength_nm - 550.0 == pytest.approx(shift, rel=0.0, abs=room)


def test_gaussian_falls_to_half_at_half_its_width() -> None:
    """The width is the full width at half the peak."""
    light = Spectrum.gaussian(600.0, 20.0)
    at = np.interp([590.0, 600.0, 610.0], light.wavelength_nm, light.weight_per_nm)
    # A chord misses a Gaussian by (h/σ)²/8 at most, h/σ = 2.355/200.
    assert_allclose(at[[0, 2]] / at[1], 0.5, rtol=2e-5, atol=0.0)


def test_gaussian_ends_at_the_ends_of_the_range() -> None:
    """A peak at the end of the range is cut there and still sums to 1."""
    light = Spectrum.gaussian(3000.0, 100.0)
    assert light.wavelength_nm[-1] == 3000.0
    half_mean = 3000.0 - 100.0 * SIGMA_PER_WIDTH * math.sqrt(2.0 / math.pi)  # half-normal
    # The trapezoid sum of a half-normal is second order: (h/σ)²/12 of σ, h = 0.5 nm.
    assert light.energy_mean_wavelength_nm == pytest.approx(half_mean, abs=0.5**2 / 12 / 42)


@pytest.mark.parametrize("scale", [1e-300, 1.0, 1e300])
def test_table_may_come_in_any_scale(scale: float) -> None:
    """Only the shape of a table counts: the peak of two slopes is 1 over their area."""
    grid, power = np.array([400.0, 500.5, 700.0]), np.array([0.2, 1.0, 0.0])
    light = Spectrum.tabulated(grid, power * scale, "lamp")
    area = 1.2 / 2 * 100.5 + 1.0 / 2 * 199.5
    assert light.weight_per_nm.max() == pytest.approx(1.0 / area, rel=ROUNDING)


def test_coarse_table_sums_like_a_fine_one() -> None:
    """
    Two points are enough for a straight line: mean wavelength of a ramp from 500 to 700 nm.

    Exact: 500 + 2/3 · 200 nm. Sums at every nanometre miss (1 nm)²/6 · (w_end − w_start), w_end =
    2/200 per nm.
    """
    light = Spectrum.tabulated(np.array([500.0, 700.0]), np.array([0.0, 1.0]), "ramp")
    exact = 500.0 + 400.0 / 3.0
    assert light.energy_mean_wavelength_nm - exact == pytest.approx(0.01 / 6.0, rel=1e-6)


def test_equal_lights_are_equal() -> None:
    """Equality and hash go by name and values; a changed value makes another light."""
    one, same = Spectrum.gaussian(525.0, 35.0), Spectrum.gaussian(525.0, 35.0)
    assert one == same
    assert hash(one) == hash(same)
    assert one != Spectrum.gaussian(525.0, 34.0)
    assert one != dataclasses.replace(one, name="other")
    assert one != "525 nm, 35 nm wide"
    assert pickle.loads(pickle.dumps(one)) == one  # noqa: S301 -- made on the line itself


def test_light_is_frozen_and_leaves_its_input_alone() -> None:
    """Values cannot be written to, and the caller's arrays stay writable and their own."""
    grid, power = np.array([400.0, 700.0]), np.array([2.0, 2.0])
    light = Spectrum.tabulated(grid, power, "flat")
    grid[0], power[0] = 300.0, 9.0
    assert light.wavelength_nm[0] == 400.0
    with pytest.raises(ValueError, match="read-only"):
        light.weight_per_nm[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        photopic_curve()[1][0] = 1.0


@pytest.mark.parametrize(
    ("wavelength_nm", "power", "complaint"),
    [
        ([400.0, 500.0], [1.0], "2 wavelengths and 1 values"),
        ([400.0], [1.0], "at least 2"),
        ([400.0, 400.0], [1.0, 1.0], "from 400 to 400 nm, expected them to increase"),
        ([400.0, math.nan], [1.0, 1.0], "expected them to increase"),
        ([0.4, 0.7], [1.0, 1.0], "is 0.4 nm, expected 100 to 3000 nm"),
        ([400.0, 3001.0], [1.0, 1.0], "is 3001 nm, expected 100 to 3000 nm"),
        ([400.0, 500.0], [1.0, -0.5], "is -0.5 at 500 nm"),
        ([400.0, 500.0], [1.0, math.inf], "is inf at 500 nm"),
        ([400.0, 500.0], [0.0, 0.0], "zero throughout"),
    ],
)
def test_unfit_tables_are_refused(
    wavelength_nm: list[float], power: list[float], complaint: str
) -> None:
    """Each fault of a table is told with the place and what was read."""
    with pytest.raises(InputError, match=complaint):
        Spectrum.tabulated(np.array(wavelength_nm), np.array(power), "lamp")


@pytest.mark.parametrize(
    ("make", "complaint"),
    [
        (lambda: Spectrum.gaussian(0.55, 20.0), "peak of the spectrum is 0.55 nm"),
        (lambda: Spectrum.gaussian(math.nan, 20.0), "peak of the spectrum is nan nm"),
        (lambda: Spectrum.gaussian(550.0, 0.0), "width of the spectrum is 0 nm"),
        (lambda: Spectrum.gaussian(550.0, 1001.0), "expected 0.001 to 1000 nm"),
        (lambda: _flat(400, 500).electrons_per_joule(60.0), "efficiency is 60, expected 0 to 1"),
        (lambda: _flat(400, 500).electrons_per_joule(-0.1), "is -0.1 at 400 nm"),
        (lambda: _flat(400, 500).band_shares(0.0), "frees no electrons"),
    ],
)
def test_unfit_numbers_are_refused(make: Callable[[], object], complaint: str) -> None:
    """Peak, width and efficiency outside their range are refused."""
    with pytest.raises(InputError, match=complaint):
        make()


def test_weights_that_do_not_sum_to_one_are_refused() -> None:
    """A light built from weights directly must be normalised."""
    with pytest.raises(InputError, match="sum to 2, expected 1"):
        Spectrum(name="lamp", wavelength_nm=np.array([400.0, 402.0]), weight_per_nm=np.ones(2))


def test_lux_is_refused_for_light_the_eye_hardly_sees() -> None:
    """Under 1 % of V-weighted power, as with 690 nm (V = 0.0082), an illuminance is refused."""
    with pytest.raises(InputError, match=r"850 nm, 40 nm wide.*expected W/m² instead"):
        Spectrum.gaussian(850.0, 40.0).irradiance_w_m2(1e3)
    assert not Spectrum.gaussian(690.0, 1.0).illuminance_is_meaningful
    assert Spectrum.gaussian(680.0, 1.0).illuminance_is_meaningful  # V = 0.017


def test_irradiance_takes_arrays() -> None:
    """Numbers and arrays of illuminance give the same irradiance."""
    light = Spectrum.named("D65")
    lux = np.array([0.0, 1e3, 4e4])
    assert_array_equal(light.irradiance_w_m2(lux), [light.irradiance_w_m2(float(x)) for x in lux])


def test_invisible_share_follows_the_tail() -> None:
    """
    A Gaussian lamp has the tail of the normal distribution beyond 780 nm, and below 380 nm.

    Straight lines between points h = σ·2.355/200 miss a cumulative by (h/σ)²/12 · 0.4 at most.
    """
    sigma = 40.0 * SIGMA_PER_WIDTH
    for peak, share in ((780.0, 0.5), (380.0, 0.5), (760.0, norm.sf(20.0 / sigma))):
        assert Spectrum.gaussian(peak, 40.0).invisible_share == pytest.approx(share, abs=5e-6)
    assert _flat(300.0, 1000.0).invisible_share == pytest.approx((80 + 220) / 700, rel=ROUNDING)


def test_electrons_of_a_flat_light_and_a_ramp_are_exact() -> None:
    """
    Equal energy on 400-700 nm and an efficiency rising from 0 to 0.6 there, two points only.

    ∫ λ (λ−a) dλ from a to b = (b³−a³)/3 − a(b²−a²)/2; both factors are straight, so it is exact.
    """
    a, b = 400.0, 700.0
    ramp = np.array([a, b]), np.array([0.0, 0.6])
    exact = ((b**3 - a**3) / 3 - a * (b**2 - a**2) / 2) * 0.6 / (b - a) / (b - a)
    got = _flat(a, b).electrons_per_joule(ramp)
    assert got == pytest.approx(exact * PHOTONS_PER_J_NM, rel=ROUNDING, abs=0.0)


@pytest.mark.parametrize("width_nm", [0.001, 0.1, 5.0])
def test_narrow_line_on_a_coarse_efficiency_curve(width_nm: float) -> None:
    """
    A line between two points of the curve gets the efficiency of the chord there.

    ∫ w λ (c + sλ') dλ, λ' = λ − λ₀, = c λ₀ + s σ². Straight lines between the points of the line
    add (h/σ)²/6 = 2e-5 of the second term, itself below 3e-5 of the first.
    """
    peak = 532.05
    curve = np.array([400.0, 500.0, 600.0, 700.0]), np.array([0.3, 0.6, 0.5, 0.2])
    slope, level = -0.001, 0.6 - 0.001 * 32.05
    sigma = SIGMA_PER_WIDTH * width_nm
    exact = (level * peak + slope * sigma**2) * PHOTONS_PER_J_NM
    got = Spectrum.gaussian(peak, width_nm).electrons_per_joule(curve)
    assert got == pytest.approx(exact, rel=1e-9, abs=0.0)


def test_narrow_dip_in_the_efficiency_is_seen_by_a_coarse_light() -> None:
    """A dip 0.02 nm wide between two points of the light takes its exact share of electrons."""
    dip = np.array([400.0, 550.24, 550.25, 550.26, 700.0]), np.array([1.0, 1.0, 0.0, 1.0, 1.0])
    light = _flat(400.0, 700.0)
    lost = 1.0 - light.electrons_per_joule(dip) / light.photons_per_joule
    exact = 550.25 * 0.01 / (550.0 * 300.0)  # a triangle of area 0.01 nm, symmetrical
    assert lost == pytest.approx(exact, rel=1e-8, abs=0.0)  # 1e-13 of rounding in 3e-5


def test_efficiency_is_zero_beyond_its_curve() -> None:
    """A curve that ends inside the light counts up to its end and not beyond."""
    light = _flat(400.0, 700.0)
    part = np.array([450.3, 600.7]), np.array([0.5, 0.5])
    exact = 0.5 * (600.7**2 - 450.3**2) / 2 / 300.0
    got = light.electrons_per_joule(part)
    assert got == pytest.approx(exact * PHOTONS_PER_J_NM, rel=ROUNDING, abs=0.0)
    assert light.electrons_per_joule((np.array([800.0, 900.0]), np.ones(2))) == 0.0


@pytest.mark.parametrize("name", ["A", "FL11", "LED-B3"])
def test_electrons_agree_with_a_hundredfold_finer_sum(name: str) -> None:
    """
    Electrons agree with a plain sum at every 0.01 nm, where no chord of λ·w is drawn.

    The chord of λ·w misses a step by h²/6 · |Δw| at most, h = 1 nm: in all η/6 · Σ|Δw|.
    """
    light = Spectrum.named(name)
    curve = np.array([350.0, 420.0, 555.5, 900.0]), np.array([0.2, 0.5, 0.62, 0.1])
    fine = np.linspace(380.0, 780.0, 40001)
    weight = np.interp(fine, light.wavelength_nm, light.weight_per_nm)
    expected = np.trapezoid(weight * np.interp(fine, *curve) * fine, fine) * PHOTONS_PER_J_NM
    miss = 0.62 / 6.0 * np.abs(np.diff(light.weight_per_nm)).sum() * PHOTONS_PER_J_NM
    assert light.electrons_per_joule(curve) == pytest.approx(expected, rel=0.0, abs=miss)


@pytest.mark.parametrize("name", illuminant_curves())
def test_constant_efficiency_counts_photons(name: str) -> None:
    """An efficiency of 0.5, as a number or a curve of odd points, gives half the photons."""
    light = Spectrum.named(name)
    curve = np.array([333.3, 512.34, 555.5, 1000.0]), np.full(4, 0.5)
    half = light.photons_per_joule / 2.0
    assert light.electrons_per_joule(0.5) == pytest.approx(half, rel=ROUNDING, abs=0.0)
    assert light.electrons_per_joule(curve) == pytest.approx(half, rel=ROUNDING, abs=0.0)


@pytest.mark.parametrize("edges", [(490.0, 580.0), (490.3, 580.7), (580.7, 490.3)])
def test_bands_are_cut_exactly_at_their_edges(edges: tuple[float, float]) -> None:
    """For equal energy, electrons between two wavelengths go with the difference of squares."""
    at = np.array([400.0, min(edges), max(edges), 700.0]) ** 2
    got = _flat(400.0, 700.0).band_shares(0.4, edges)
    assert_allclose(got, np.diff(at) / (at[-1] - at[0]), rtol=ROUNDING, atol=0.0)


def test_bands_follow_light_and_efficiency() -> None:
    """Shares sum to 1, a line lies in one band, and a blind band has none."""
    light = Spectrum.named("LED-B3")
    curve = np.array([490.0, 800.0]), np.ones(2)
    assert sum(light.band_shares(curve)) == pytest.approx(1.0, rel=0.0, abs=ROUNDING)
    assert light.band_shares(curve)[0] == 0.0
    assert Spectrum.gaussian(525.0, 5.0).band_shares(0.5) == pytest.approx((0, 1, 0), abs=ROUNDING)
    assert Spectrum.gaussian(850.0, 40.0).band_shares(0.5)[2] == pytest.approx(1.0, abs=ROUNDING)


def test_curves_that_do_not_meet_have_no_product() -> None:
    """Curves over different wavelengths give an empty grid and integrals of zero."""
    low = np.array([400.0, 500.0]), np.ones(2)
    high = np.array([600.0, 700.0]), np.ones(2)
    assert merged(low, high)[0].size == 0
    assert_array_equal(split_integral(low, high, (490.0, 580.0)), np.zeros(3))
