"""Light that swings, falls off towards the ends, or comes from elsewhere."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

BASE = plain_setup(
    "Light",
    target={"pixel_size": "25 um"},
    light={"illuminance": "100 klx"},
    camera={"pixels": 200},
    acquisition={"lines": 400, "line_rate": "10 kHz", "exposure": "20 us"},
)
POSITION = (2 * np.arange(200) + 1) / 200 - 1
"""Middle of each column, -1 and 1 at the ends of the line."""


def seen_e(setup: Setup, reflectance: float = 1.0) -> FloatArray:
    """Noise-free electrons of an even target."""
    return np.asarray(
        scan(setup, reference=np.full((9, 9), reflectance)).expected_e, dtype=np.float64
    )


@pytest.mark.parametrize(
    ("frequency_hz", "alias_hz"),
    [(100, 100), (150, 150), (9_950, 50), (20_075, 75), (44_900, 4900)],
)
def test_flicker_bands(frequency_hz: float, alias_hz: float) -> None:
    """
    Bands lie line rate over alias frequency lines apart; their depth is b |sinc(g t)|.

    Alias: distance from the nearest multiple of the line rate, by the sampling theorem. 400 lines
    at 10 kHz hold whole turns of each, so one Fourier bin has it all.
    """
    swing = {"light.flicker": 0.3, "light.flicker_frequency": f"{frequency_hz} Hz"}
    means = seen_e(changed(BASE, swing)).mean(axis=1)
    spectrum = np.abs(np.fft.rfft(means)) / (len(means) * means.mean()) * 2
    spectrum[0] = 0
    found = int(spectrum.argmax())
    assert len(means) / found == pytest.approx(10_000 / alias_hz, rel=1e-12)
    depth = 0.3 * abs(np.sinc(frequency_hz * 20e-6))
    assert spectrum[found] == pytest.approx(depth, rel=1e-4)
    assert np.delete(spectrum, found).max() < 1e-5
    # phase 0 when line 0 starts, and seen in the middle of each exposure
    middle_s = np.arange(400) * 1e-4 + 10e-6
    light = 1 + 0.3 * np.sinc(frequency_hz * 20e-6) * np.sin(2 * np.pi * frequency_hz * middle_s)
    assert_allclose(means / means.mean(), light, rtol=1e-5)


def test_an_exposure_of_whole_periods_has_no_bands() -> None:
    """sinc(1) = 0: 50 kHz seen for 20 us, to float32's rounding."""
    swing = {"light.flicker": 0.3, "light.flicker_frequency": "50 kHz"}
    assert_allclose(seen_e(changed(BASE, swing)), seen_e(BASE), rtol=1e-6)


def test_edge_falloff_is_a_parabola() -> None:
    """1 − e x² of the light in the middle, at the middle of each column."""
    setup = changed(BASE, {"light.edge_falloff": 0.3})
    white_e = budget(setup).number("signal", "electrons_white")
    assert_allclose(seen_e(setup)[7] / white_e, 1 - 0.3 * POSITION**2, rtol=1e-6)


@pytest.mark.parametrize("across", [1, 3])
def test_cos4_towards_the_ends(across: int) -> None:
    """
    cos⁴θ with tan θ = x/(f(1+m)), the law of illumination off the axis (from memory).

    200 pixels of 75 um and f = 3 mm: x = 7.5 mm from 3.3 mm. 3 columns a group leave 198.
    """
    setup = changed(
        BASE,
        {
            "camera.pixel_width": "75 um",
            "camera.pixel_height": "7.5 um",
            "lens.focal_length": "3 mm",
            "acquisition.binning": f"{across}x1",
            "acquisition.lines": 3,
        },
    )
    width = 200 // across
    x_mm = ((np.arange(width) + 0.5) - width / 2) * across * 0.075
    share = np.cos(np.arctan(x_mm / (3 * 1.1))) ** 4
    assert share.min() < 0.05
    white_e = budget(setup).number("signal", "electrons_white")
    assert_allclose(seen_e(setup)[1] / white_e, share, rtol=2e-6)


AMBIENT: dict[str, object] = {"light.ambient": "25 klx", "light.edge_falloff": 0.4}


def test_ambient_light_falls_evenly() -> None:
    """100 klx that fall off as 1 − 0.4x² and 25 klx that do not; the budget adds them."""
    setup = changed(BASE, AMBIENT)
    plain_e = budget(BASE).number("signal", "electrons_white")
    assert budget(setup).number("signal", "electrons_white") == pytest.approx(1.25 * plain_e)
    assert_allclose(seen_e(setup)[3] / plain_e, 1 - 0.4 * POSITION**2 + 0.25, rtol=1e-6)
    watts = budget(BASE).number("signal", "irradiance_target_w_m2")
    power = changed(setup, {"light.ambient": f"{watts / 4} W/m^2"})
    assert_allclose(seen_e(power), seen_e(setup), rtol=1e-6)


def test_ambient_light_does_not_flicker() -> None:
    """At each column the lamp's share swings: b sinc(g t) (1 − 0.4x²)/(1.25 − 0.4x²)."""
    swing = {"light.flicker": 0.3, "light.flicker_frequency": "100 Hz"}
    seen = seen_e(changed(BASE, {**AMBIENT, **swing}))
    depth = 2 * np.abs(np.fft.rfft(seen, axis=0)[4]) / seen.sum(axis=0)
    lamp = 1 - 0.4 * POSITION**2
    assert_allclose(depth, 0.3 * np.sinc(100 * 20e-6) * lamp / (lamp + 0.25), rtol=1e-4)


def test_ambient_light_alone_is_seen() -> None:
    """A lamp of 0 leaves the ambient light, even and steady."""
    setup = changed(BASE, {**AMBIENT, "light.illuminance": "0 lx", "light.flicker": 0.5})
    quarter_e = budget(BASE).number("signal", "electrons_white") / 4
    assert_allclose(seen_e(setup), quarter_e, rtol=1e-6)
