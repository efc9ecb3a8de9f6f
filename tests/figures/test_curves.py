"""Factors, sources and steps add up to the figures they are the parts of."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.curves import factors_across, factors_along, light_path, noise_sources_e
from linesim.figures.resolution import mtf_across, mtf_along
from linesim.forward.station import station
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup

CHANGES: dict[str, dict[str, Any]] = {
    "plain": {},
    "blurred": {"lens.defocus": "20 mm", "acquisition.exposure": "30 us"},
    "joined": {"acquisition.binning": "2x3", "acquisition.binning_along": "lines",
     "acquisition.binning_domain": "digital", "acquisition.binning_mode": "average",
     "acquisition.line_rate": "9 kHz"},
    "stages": {"camera.tdi_stages": 16, "acquisition.line_rate": "14 kHz"},
    "corrected": {"acquisition.flat_field": True, "camera.dark_current": "50 ke/s"},
    "lagging": {"camera.lag": 0.3, "camera.crosstalk": 0.1, "camera.line_noise": "9 e",
     "camera.taps": {"count": 4, "gain_step": 0.01, "offset_step": "5 e"},
     "camera.column_waves": {"gain": 0.01, "period": "32 px"}},
    "transferred": {"camera.tdi_stages": 16, "camera.charge_transfer_inefficiency": 0.01},
    "colour": {"camera.kind": "prism", "light.ambient": "2 klx",
     "acquisition.white_balance": "grey-card"},
}  # fmt: skip
FREQUENCY_LP_MM = np.linspace(0, 30, 61)
# products and sums of less than ten doubles in another order: some units of 1e-16
ROUNDING = 1e-14


def varied(name: str) -> Setup:
    """Make one of the stations."""
    return changed(sample_setup(), CHANGES[name])


@pytest.mark.parametrize("name", CHANGES)
def test_factors_multiply_to_the_mtf(name: str) -> None:
    """What the plot shows as factors is the MTF of the figures, across and along."""
    for one in station(varied(name)).by_colour:
        for factors, mtf in ((factors_across, mtf_across), (factors_along, mtf_along)):
            found = np.prod(list(factors(one, FREQUENCY_LP_MM).values()), axis=0)
            assert_allclose(found, mtf(one, FREQUENCY_LP_MM), rtol=0, atol=ROUNDING)


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("plain", "rest blur"),
        ("blurred", "defocus"),
        ("joined", "joined lines"),
        ("stages", "stages"),
        ("plain", "motion"),
        ("lagging", "lag"),
    ],
)
def test_a_factor_acts_where_its_cause_is(name: str, factor: str) -> None:
    """Each factor takes something in a setup that has its cause."""
    assert factors_along(station(varied(name)), FREQUENCY_LP_MM)[factor].min() < 0.9


@pytest.mark.parametrize("name", CHANGES)
def test_sources_add_up_to_the_noise(name: str) -> None:
    """Variances add: the root of the sum of squares is the total noise, at any signal."""
    signal_e = np.array([0.0, 1.0, 300.0, 2e4])
    for one in station(varied(name)).by_colour:
        sources = noise_sources_e(one, signal_e)
        assert {noise.shape for noise in sources.values()} == {signal_e.shape}
        total_e = np.sqrt(sum(noise**2 for noise in sources.values()))
        assert_allclose(total_e, one.total_noise_e(signal_e), rtol=ROUNDING)


def test_colours_taken_apart_are_the_same_colours() -> None:
    """Each colour by itself has the white, its noise and its limit that it has among the others."""
    numbers = station(varied("colour"))
    ones = numbers.by_colour
    assert len(ones) == 3
    white_e = np.asarray(numbers.electrons_white)
    assert_allclose([float(one.electrons_white) for one in ones], white_e, rtol=ROUNDING)
    assert_allclose(
        [float(one.total_noise_e(one.electrons_white)) for one in ones],
        numbers.total_noise_e(white_e),
        rtol=ROUNDING,
    )
    assert_allclose([float(one.saturation_e) for one in ones], numbers.saturation_e, rtol=ROUNDING)


def test_photons_follow_emva_1288() -> None:
    """
    μ_p = 50.34 A t λ E, with µm², ms, µm and µW/cm² (EMVA 1288 R4.0 RC (March 2021), (4)).

    The constant has four digits, so 1e-4; a band 1 nm wide has its mean within 1e-6 of 0.55 µm.
    """
    setup = changed(
        sample_setup(),
        {
            "light.illuminance": None,
            "light.irradiance": "100 W/m^2",
            "light.spectrum": {"peak": "550 nm", "width": "1 nm"},
            "acquisition.binning": "2x1",
        },
    )
    path = light_path(setup, station(setup))
    area_um2, exposure_ms, microwatt_cm2 = 2 * 7.5 * 7.5, 0.075, 100 * path.sensor_w_m2
    assert_allclose(
        path.photons, 50.34 * area_um2 * exposure_ms * 0.55 * microwatt_cm2, rtol=1.01e-4
    )
    assert_allclose(station(setup).electrons_white, 0.6 * path.photons, rtol=ROUNDING * 100)


def test_light_is_lost_step_by_step() -> None:
    """Lamp and ambient light, times reflectance, times τ/(4 N²(1+m)²), one after the other."""
    setup = changed(sample_setup(), {"light.ambient": "2 klx"})
    path = light_path(setup, station(setup))
    assert_allclose(path.ambient_w_m2, path.lamp_w_m2 * 2 / 40, rtol=1e-12)
    assert_allclose(path.sent_back_w_m2, 0.8 * (path.lamp_w_m2 + path.ambient_w_m2), rtol=1e-12)
    share = 0.9 / (4 * (4 * 1.1) ** 2)
    assert_allclose(path.sensor_w_m2, share * path.sent_back_w_m2, rtol=1e-12)
