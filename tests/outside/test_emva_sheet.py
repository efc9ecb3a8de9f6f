"""Budget and camera figures against EMVA 1288 R4.0 RC (March 2021): equations, sheet, tables."""

import numpy as np
import pytest
from scipy import constants

from linesim.figures.budget import Budget, budget
from linesim.forward.collect import electrons
from linesim.forward.station import station
from linesim.setup.light.spectra import Spectrum
from linesim.setup.load import changed
from tests.stations import plain_setup

# 40 klx of a white LED on a web at 60 m/min: one 7.5 um pixel, 50 us, 0.1 DN/e.
BASE = plain_setup(
    "EMVA 1288",
    target={"pixel_size": "25 um", "width": "20 mm", "height": "10 mm", "white_reflectance": 0.8},
    lens={"f_number": 4.0, "transmission": 0.9},
    light={"spectrum": "LED-B3"},
    camera={
        "quantum_efficiency": 0.5,
        "read_noise": "10 e",
        "gain": "0.1 DN/e",
        "black_level": "0 DN",
    },
    acquisition={"exposure": "50 us"},
)


def with_signal(signal_e: float, read_noise_e: float, gain_dn_e: float) -> Budget:
    """Budget with the light turned until white gives a wanted signal."""
    camera = {"camera.read_noise": f"{read_noise_e} e", "camera.gain": f"{gain_dn_e} DN/e"}
    lit = {"light.illuminance": None, "light.irradiance": "1 W/m^2"}
    per_watt_e = station(changed(BASE, {**camera, **lit})).electrons_white
    lit["light.irradiance"] = f"{float(signal_e / per_watt_e)!r} W/m^2"
    return budget(changed(BASE, {**camera, **lit}))


def figure(found: Budget, group: str, name: str) -> float:
    """One figure as a float."""
    return float(found[group][name])


def test_photons_from_irradiance_area_time_and_wavelength() -> None:
    """
    Equations (3) and (4): μ_p = A E t λ/(hc), 50.34 in µm², ms, µm and µW/cm².

    56.25 µm², 0.05 ms, 0.53 µm, 100 µW/cm²: 7503.81 by (4), whose 50.34 is rounded by 2.3e-5;
    7503.98 with the SI's h and c.
    """
    per_joule = Spectrum.gaussian(530.0, 0.5).photons_per_joule
    exact = 0.53e-6 / (constants.h * constants.c)
    assert exact * 1e-12 * 1e-3 * 1e-2 / 0.53 == pytest.approx(50.34117, abs=5e-6)
    assert per_joule == pytest.approx(exact, rel=1e-12)  # an even line: the mean is its peak
    photons = electrons(1.0, 56.25, 50.0, per_joule)
    assert photons == pytest.approx(7503.98, abs=0.01)
    assert photons == pytest.approx(50.34 * 56.25 * 0.05 * 0.53 * 100, rel=5e-5)


def test_binned_pixels_have_the_area_of_all() -> None:
    """Section 6.4: the area counts times the binning factors, across and along."""
    one = station(BASE).electrons_white
    for binning, factor in (("2x1", 2), ("1x2", 2), ("2x2", 4)):
        joined = station(changed(BASE, {"acquisition.binning": binning})).electrons_white
        assert joined == pytest.approx(factor * one, rel=1e-14)


def test_worked_example_from_lux_to_snr() -> None:
    """
    From the lamp to the figure: colour-science 0.4.7 (CIE tables, 380-780 nm), SI 2019, by hand.

    40 klx LED-B3, ρ 0.8, τ 0.9, N 4, m 0.1, 7.5 µm, 50 µs, η 0.5, σ_d 10 e, K 0.1 DN/e.
    Each to half a unit of the last digit shown.
    """
    found = budget(BASE)
    assert figure(found, "signal", "irradiance_target_w_m2") == pytest.approx(126.230, abs=5e-4)
    assert figure(found, "signal", "irradiance_sensor_w_m2") == pytest.approx(1.17363, abs=5e-6)
    assert figure(found, "signal", "electrons_white") == pytest.approx(4690.07, abs=5e-3)
    assert figure(found, "signal", "electrons_white") / 0.5 == pytest.approx(9380.14, abs=1e-2)
    assert figure(found, "signal", "snr_white") == pytest.approx(67.7066, abs=5e-5)
    assert figure(found, "signal", "snr_white_db") == pytest.approx(
        20 * np.log10(67.7066), abs=1e-5
    )


def test_illuminance_at_the_sensor() -> None:
    """The same example: 371.901 lx reach the sensor; 316.882 lm/W (CIE tables)."""
    e_sensor = figure(budget(BASE), "signal", "irradiance_sensor_w_m2")
    assert e_sensor * 316.882 == pytest.approx(371.901, abs=2e-3)


@pytest.mark.parametrize(
    ("snr", "photons"), [(1, 15.03264), (10, 247.7628), (40, 2782.215), (100, 16786.36)]
)
def test_photons_for_an_snr(snr: float, photons: float) -> None:
    """
    Equation (25) turned round: η 0.6, σ_d 8 e, K 0.1 DN/e.

    μ_p = SNR²/2η · [1 + √(1 + 4(σ_d² + σ_q²/K²)/SNR²)], calculated to seven digits.
    """
    dark_e2 = 8.0**2 + 1 / 12 / 0.1**2
    inverse = snr**2 / 1.2 * (1 + np.sqrt(1 + 4 * dark_e2 / snr**2))
    assert inverse == pytest.approx(photons, rel=5e-7)
    found = with_signal(0.6 * inverse, 8.0, 0.1)
    assert figure(found, "signal", "snr_white") == pytest.approx(snr, rel=1e-9)


def test_dark_current_adds_its_own_noise() -> None:
    """Equations (29) and (30): mean and variance grow by μ_I t alike, for every joined pixel."""
    still = station(BASE)
    for binning, joined in (("1x1", 1), ("2x2", 4)):
        hot = station(
            changed(BASE, {"camera.dark_current": "2 Me/s", "acquisition.binning": binning})
        )
        assert hot.dark_e == pytest.approx(joined * 2e6 * 50e-6, rel=1e-12)
        assert hot.dark_noise_e**2 - still.dark_noise_e**2 == pytest.approx(hot.dark_e, rel=1e-12)


# The anonymous summary sheet that the standard prints as its template.
SHEET = changed(
    BASE,
    {
        "camera.gain": f"{1 / 10.22!r} DN/e",
        "camera.read_noise": "30.8 e",
        "camera.full_well": "40951 e",
        "camera.pixel_width": f"{(40951 / 1193) ** 0.5!r} um",
        "camera.dsnu": f"{(11.2**2 + 2.3**2 + 18.4**2) ** 0.5!r} e",
        "camera.prnu": (0.40**2 + 0.21**2 + 0.74**2) ** 0.5 / 100,
    },
)


def test_summary_sheet_of_the_standard() -> None:
    """
    Template page: K 0.098 (10.22 e/DN), σ_d 30.8 e, μ_e.sat 40951 e; each printed figure.

    Within one unit of the last digit printed, for the sheet's own inputs are rounded.
    """
    found, numbers = budget(SHEET), station(SHEET)
    gain = float(numbers.sensor.gain_dn_e)
    assert gain == pytest.approx(0.098, abs=1e-3)
    assert gain * float(numbers.noise_e(0.0)) == pytest.approx(3.03, abs=0.01)
    printed = {
        "dark_noise_e": (30.8, 0.1),
        "threshold_e": (31.4, 0.1),
        "saturation_e": (40951, 1),
        "snr_max": (202, 1),
        "snr_max_db": (46.1, 0.1),
        "dynamic_range": (1303, 1),
        "dynamic_range_db": (62.3, 0.1),
    }
    for name, (value, unit) in printed.items():
        assert figure(found, "camera", name) == pytest.approx(value, abs=unit), name
    assert 100 / figure(found, "camera", "snr_max") == pytest.approx(0.49, abs=0.01)
    assert found["signal"]["saturation_limit"] == "pixel"


def test_summary_sheet_per_area() -> None:
    """The sheet's 1193 e/µm² and threshold of 0.92 e/µm² belong to the same pixel."""
    found, area_um2 = budget(SHEET), float(station(SHEET).geometry.pixel_area_um2)
    assert figure(found, "camera", "saturation_e") / area_um2 == pytest.approx(1193, abs=1)
    assert figure(found, "camera", "threshold_e") / area_um2 == pytest.approx(0.92, abs=0.01)


def test_total_snr_with_the_sheets_pattern() -> None:
    """
    Equation (69) with DSNU 21.7 e and PRNU 0.87 % of the sheet; bright light meets 1/PRNU.

    The two are the sheet's own column, row and pixel parts joined: 21.663 e and 0.8670 %.
    """
    numbers = station(SHEET)
    assert numbers.sensor.dsnu_e == pytest.approx(21.7, abs=0.1)
    assert 100 * numbers.sensor.prnu == pytest.approx(0.87, abs=0.01)
    for signal in (0.0, 100.0, 20_000.0):
        expected = np.sqrt(
            30.8**2 + 21.663**2 + 10.22**2 / 12 + signal + (0.8670 / 100 * signal) ** 2
        )
        assert numbers.total_noise_e(signal) == pytest.approx(expected, rel=1e-4)
    assert 1e9 / numbers.total_noise_e(1e9) == pytest.approx(100 / 0.8670, rel=1e-3)


def test_pattern_of_joined_pixels() -> None:
    """Independent pixels, n joined: PRNU/√n of the sum, DSNU·√n (derived: sum of variances)."""
    one, four = station(SHEET), station(changed(SHEET, {"acquisition.binning": "2x2"}))
    for signal in (0.0, 5000.0):
        fixed_one = one.total_noise_e(signal) ** 2 - one.noise_e(signal) ** 2
        fixed_four = four.total_noise_e(4 * signal) ** 2 - four.noise_e(4 * signal) ** 2
        assert fixed_four == pytest.approx(4 * fixed_one, rel=1e-9)


@pytest.mark.parametrize(
    ("signal_e", "alone", "two", "four"),
    [
        (1000, 30.1511, 43.6436, 62.4695),
        (25, 2.23607, 4.08248, 7.07107),
        (100, 7.07107, 11.5470, 17.8885),
    ],
)
def test_charge_binning_gains(signal_e: float, alone: float, two: float, four: float) -> None:
    """Charge of n pixels, one read: SNR = nS/√(nS + σ²), σ = 10 e (from (21) with one σ_d)."""
    found = [
        station(changed(BASE, {"acquisition.binning": binning, "camera.gain": "1000 DN/e"}))
        for binning in ("1x1", "2x1", "2x2")
    ]
    # 1000 DN/e leave 1/(12K²) = 8e-8 e², so the bare formula holds to all digits shown
    for numbers, joined, snr in zip(found, (1, 2, 4), (alone, two, four), strict=True):
        signal = joined * signal_e
        assert signal / numbers.noise_e(signal) == pytest.approx(snr, rel=5e-6)
