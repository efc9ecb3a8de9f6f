"""
Light tables and their sums against colour-science, `scipy.constants` and worked numbers.

The numbers in ``FIGURES`` come from colour-science 0.4.7 (V(λ) and the illuminants) with `numpy`:
trapezoid sums on 380-780 nm in steps of 1 nm, 683.002 lm/W, h and c of SI 2019.
They hold to half a unit of their last printed digit. The tables in the package are rounded to 7
digits, a relative 5e-7, which is less than a tenth of that.
"""

import warnings

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import constants
from scipy.integrate import quad

from linesim.setup.arrays import FloatArray
from linesim.setup.light.light_tables import illuminant_curves, photopic_curve
from linesim.setup.light.spectra import LIGHT_SPEED_M_S, MAX_EFFICACY_LM_W, PLANCK_J_S, Spectrum
from linesim.setup.light.thermal import whole_light

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # tells of optional packages that are not needed here
    import colour

OBSERVER = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
RANGE = colour.SpectralShape(380, 780, 1)
KM_RATIO = 683.002 / colour.constants.CONSTANT_K_M  # colour-science rounds to 683 lm/W
HC_J_M = constants.h * constants.c

# illuminant: lm/W, W/m² per klx, mean wavelength in nm, photons/(µm² s lx)
FIGURES = {
    "A": (156.198, 6.4021, 651.73, 21004.6),
    "D50": (207.701, 4.8146, 589.22, 14281.1),
    "D65": (205.153, 4.8744, 565.93, 13886.9),
    "E": (182.458, 5.4807, 580.00, 16002.5),
    "FL2": (336.728, 2.9698, 543.23, 8121.3),
    "FL11": (336.858, 2.9686, 550.89, 8232.7),
    "LED-B1": (311.791, 3.2073, 592.40, 9564.7),
    "LED-B2": (313.863, 3.1861, 586.75, 9410.9),
    "LED-B3": (316.882, 3.1557, 564.50, 8967.9),
    "LED-B4": (319.207, 3.1328, 553.83, 8734.3),
    "LED-B5": (305.188, 3.2767, 541.30, 8928.8),
    "LED-BH1": (345.232, 2.8966, 577.32, 8418.4),
    "LED-RGB1": (291.432, 3.4313, 587.02, 10140.1),
    "LED-V1": (235.577, 4.2449, 595.07, 12716.2),
    "LED-V2": (246.419, 4.0581, 566.73, 11577.7),
}
HALF_DIGIT = (0.0005, 0.00005, 0.005, 0.05)


def _figures(light: Spectrum) -> FloatArray:
    photons_um2_s_lx = light.photons_per_joule / light.efficacy_lm_w * 1e-12
    return np.array(
        [
            light.efficacy_lm_w,
            light.irradiance_w_m2(1000.0),
            light.energy_mean_wavelength_nm,
            photons_um2_s_lx,
        ]
    )


def test_photopic_curve_is_that_of_colour_science() -> None:
    """V(λ) is the CIE 1924 table to its last digit; some of its values, and their sum."""
    grid, v = photopic_curve()
    assert_array_equal(grid, OBSERVER.wavelengths)
    assert_array_equal(v, OBSERVER.values)
    printed = [0.000396, 0.038, 0.323, 1, 0.631, 0.265, 0.061, 0.004102]
    assert_array_equal(v[np.array([400, 450, 500, 555, 600, 630, 660, 700]) - 360], printed)
    assert v.sum() == pytest.approx(106.8569, rel=0.0, abs=5e-5)


def test_every_illuminant_of_the_figures_is_in_the_package() -> None:
    """The package carries exactly the illuminants that are checked here."""
    assert set(illuminant_curves()) == set(FIGURES)


@pytest.mark.parametrize("name", FIGURES)
def test_illuminant_table_is_that_of_colour_science(name: str) -> None:
    """A table differs from its source by the rounding to 7 digits at most, a relative 5e-7."""
    grid, power = illuminant_curves()[name]
    source = colour.SDS_ILLUMINANTS[name].copy().align(RANGE)
    assert_array_equal(grid, source.wavelengths)
    assert_allclose(power, source.values, rtol=5e-7, atol=0.0)


@pytest.mark.parametrize("name", FIGURES)
def test_illuminant_figures_hold_to_every_printed_digit(name: str) -> None:
    """Efficacy, irradiance per lux, mean wavelength and photons per lux, as the heading says."""
    miss = np.abs(_figures(Spectrum.named(name)) - FIGURES[name])
    assert (miss <= HALF_DIGIT).all(), miss


@pytest.mark.parametrize("name", FIGURES)
def test_illuminant_efficacy_agrees_with_colour_science(name: str) -> None:
    """
    The efficacy is that of `colour.luminous_efficacy` with 683.002 in place of 683 lm/W.

    Rounding the table moves numerator and normalisation by 5e-7 each at most: 1e-6 together.
    """
    source = colour.SDS_ILLUMINANTS[name].copy().align(RANGE)
    expected = colour.luminous_efficacy(source) * KM_RATIO
    assert Spectrum.named(name).efficacy_lm_w == pytest.approx(expected, rel=1e-6, abs=0.0)


def test_equal_energy_spectrum_by_hand() -> None:
    """For equal energy on 380-780 nm the efficacy is 683.002 · 106.857 nm / 400 nm = 182.46."""
    assert Spectrum.named("E").efficacy_lm_w == pytest.approx(182.46, rel=0.0, abs=0.005)
    wide = Spectrum.tabulated(np.array([360.0, 830.0]), np.ones(2), "equal energy, all of V")
    # The whole of V: 106.856917 nm in 470 nm; the two end points count half, 2e-6 nm less.
    assert wide.efficacy_lm_w == pytest.approx(683.002 * 106.856917 / 470.0, rel=5e-8, abs=0.0)


def test_line_at_the_peak_of_v() -> None:
    """A line at 555 nm has 683.002 lm/W, 1.46412 W/m² per klx, 4090.7 photons/(µm² s lx)."""
    miss = np.abs(_figures(Spectrum.gaussian(555.0, 0.001)) - (683.002, 1.46412, 555.0, 4090.7))
    assert (miss <= (0.0005, 0.000005, 1e-9, 0.05)).all(), miss


@pytest.mark.parametrize(
    ("peak_nm", "width_nm", "printed_lm_w"),
    [(470.0, 25.0, 68.55), (525.0, 35.0, 507.48), (630.0, 20.0, 186.94)],
)
def test_narrow_band_lamps(peak_nm: float, width_nm: float, printed_lm_w: float) -> None:
    """
    A Gaussian lamp has the efficacy of `colour.sd_gaussian`, but for the known excess of a chord.

    colour-science sums at whole nanometres. Here the lamp has a grid of its own, h = width/200,
    and V runs straight between whole nanometres: that adds V''/12 (1 nm)² in the mean, V'' the
    second difference of the table. The same effect of step h on either curve is h² times that;
    the tolerance allows twice this. The excess itself is 0.01 to 0.02 lm/W, 2e-4 at most.
    """
    whole = colour.SpectralShape(360, 830, 1)
    lamp = colour.sd_gaussian(peak_nm, width_nm, whole, method="FWHM")
    expected = colour.luminous_efficacy(lamp) * KM_RATIO
    assert expected == pytest.approx(printed_lm_w, rel=0.0, abs=0.005)
    bend = np.diff(OBSERVER.values, 2) @ lamp.values[1:-1] / lamp.values.sum()
    excess = 683.002 * bend / 12.0
    got = Spectrum.gaussian(peak_nm, width_nm).efficacy_lm_w
    tolerance = 2.0 * abs(excess) * (width_nm / 200.0) ** 2
    assert got - excess == pytest.approx(expected, rel=0.0, abs=tolerance)


def test_infrared_lamp_has_next_to_no_efficacy() -> None:
    """850 nm, 40 nm wide: 8e-5 lm/W by `colour.sd_gaussian`, one printed digit."""
    got = Spectrum.gaussian(850.0, 40.0).efficacy_lm_w
    assert got == pytest.approx(8e-5, rel=0.0, abs=0.5e-5)


def _planck(wavelength_nm: FloatArray | float, kelvin: float) -> FloatArray:
    wavelength_m = np.asarray(wavelength_nm) * 1e-9
    ratio = constants.h * constants.c / (wavelength_m * constants.k * kelvin)
    exitance_w_m3 = 2 * np.pi * constants.h * constants.c**2 / wavelength_m**5 / np.expm1(ratio)
    return np.asarray(exitance_w_m3 * 1e-9)  # per nanometre


def test_black_body_shows_that_the_range_counts() -> None:
    """
    A black body at 2856 K has 156.22 lm/W within 380-780 nm and 16.446 over its whole spectrum.

    Planck's law over the Stefan-Boltzmann law, with constants from `scipy.constants`.
    """
    visible = np.arange(380.0, 781.0)
    narrow = Spectrum.tabulated(visible, _planck(visible, 2856.0), "black body, 380-780 nm")
    assert narrow.efficacy_lm_w == pytest.approx(156.22, rel=0.0, abs=0.005)
    every = np.arange(100.0, 3001.0)
    wide = Spectrum.tabulated(every, _planck(every, 2856.0), "black body, 100-3000 nm")
    inside, _ = quad(lambda nm: float(_planck(nm, 2856.0)), 100.0, 3000.0, epsrel=1e-9)
    share = inside / (constants.Stefan_Boltzmann * 2856.0**4)
    assert wide.efficacy_lm_w * share == pytest.approx(16.446, rel=0.0, abs=0.0005)


def test_a_tungsten_lamp_over_its_whole_spectrum() -> None:
    """
    150 klx of illuminant A are 9.12 kW/m², of which 9.5 % lies within 380 to 780 nm.

    16.446 lm/W, and the share, by Planck's law with `scipy.constants`. A is that of 2848 K with an
    older c₂, so of 2855.5 K: 0.2 K in 1000 move the efficacy by five times as much, 1e-3.
    """
    lamp, found = Spectrum.named("A"), whole_light(Spectrum.named("A"))
    assert found.temperature_k == pytest.approx(2848 * 14387.769 / 14350, rel=1e-4)
    assert lamp.irradiance_w_m2(150e3) * found.total_ratio == pytest.approx(9121, rel=1e-3)
    seen, _ = quad(lambda nm: float(_planck(nm, 2855.5)), 380.0, 780.0, epsrel=1e-9)
    share = seen / (constants.Stefan_Boltzmann * 2855.5**4)
    infrared, _ = quad(lambda nm: float(_planck(nm, 2855.5)), 780.0, 1e6, epsrel=1e-9, limit=500)
    beyond = infrared / (constants.Stefan_Boltzmann * 2855.5**4)
    assert 1 / found.total_ratio == pytest.approx(share, rel=1e-3)
    assert found.infrared_share == pytest.approx(beyond, rel=1e-4)
    assert found.invisible_share == pytest.approx(1 - share, rel=1e-4)


def test_constants_are_those_of_si_2019() -> None:
    """Planck's constant and the speed of light are exact; the efficacy follows from 540 THz."""
    assert constants.h == PLANCK_J_S
    assert constants.c == LIGHT_SPEED_M_S
    at_540_thz_nm = 555.016  # in standard air: CIE e-ILV 17-21-092
    peak_lm_w = 683.0 / np.interp(at_540_thz_nm, OBSERVER.wavelengths, OBSERVER.values)
    assert pytest.approx(peak_lm_w, rel=0.0, abs=0.0005) == MAX_EFFICACY_LM_W


def test_photon_constant_of_emva_1288() -> None:
    """
    EMVA 1288 R4.0 RC (March 2021), eq. 4: photons = 50.34 A[µm²] t[ms] λ[µm] E[µW/cm²].

    50.34 is rounded to ±0.005; `scipy.constants` gives 50.34117.
    """
    line = Spectrum.gaussian(1000.0, 0.1)
    joules = 1e-12 * 1e-3 * 1e-2  # 1 µm² · 1 ms · 1 µW/cm²
    assert line.photons_per_joule * joules == pytest.approx(50.34, rel=0.0, abs=0.005)
    assert line.photons_per_joule == pytest.approx(1e-6 / HC_J_M, rel=1e-12, abs=0.0)


def test_worked_photons_of_emva_1288() -> None:
    """56.25 µm², 50 µs, 530 nm, 1 W/m²: 7503.98 photons, 7503.81 with the rounded constant."""
    joules = 56.25e-12 * 50e-6 * 1.0
    photons = Spectrum.gaussian(530.0, 1.0).photons_per_joule * joules
    assert photons == pytest.approx(7503.98, rel=0.0, abs=0.005)
    assert photons == pytest.approx(50.34 * 56.25 * 0.05 * 0.53 * 100, rel=5e-5, abs=0.0)


def test_from_lux_on_the_target_to_electrons() -> None:
    """
    40 klx of LED-B3 frees 4690.07 electrons in 50 µs in a pixel 7.5 µm square.

    By colour-science 0.4.7 and hand: reflectance 0.8, transmission 0.9, f/4, magnification 0.1,
    efficiency 0.5, 126.230 W/m² on the target, 1.17363 W/m² and 371.901 lx on the sensor, 9380.14
    photons. Camera equation (derived): E = ρ E τ / (4 N²(1+m)²).
    """
    light = Spectrum.named("LED-B3")
    target_w_m2 = light.irradiance_w_m2(40e3)
    assert target_w_m2 == pytest.approx(126.230, rel=0.0, abs=0.0005)
    sensor_w_m2 = target_w_m2 * 0.8 * 0.9 / (4 * (4 * 1.1) ** 2)
    assert sensor_w_m2 == pytest.approx(1.17363, rel=0.0, abs=0.000005)
    assert sensor_w_m2 * light.efficacy_lm_w == pytest.approx(371.901, rel=0.0, abs=0.0005)
    joules = 7.5e-6**2 * 50e-6 * sensor_w_m2
    assert joules * light.photons_per_joule == pytest.approx(9380.14, rel=0.0, abs=0.005)
    assert joules * light.electrons_per_joule(0.5) == pytest.approx(4690.07, rel=0.0, abs=0.005)
