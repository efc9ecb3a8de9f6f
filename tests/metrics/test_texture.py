"""Texture as noise: its power, and how it is measured on an image."""

import numpy as np
from numpy.testing import assert_allclose

from linesim.forward.reference import ArrayReference
from linesim.metrics.detection.texture import Grain, texture_of
from linesim.setup.arrays import FloatArray
from linesim.targets.levels import tiles_of

SIDE, PITCH_UM = 1024, 20.0
GRAIN = Grain(rms=0.02, correlation_um=80.0)


def field(seed: int) -> FloatArray:
    """Draw a Gaussian random field with the grain's power, by numpy's FFT."""
    along = np.asarray(1000 * np.fft.fftfreq(SIDE, PITCH_UM), np.float64)[:, None]
    across = np.asarray(1000 * np.fft.rfftfreq(SIDE, PITCH_UM), np.float64)[None, :]
    power = GRAIN.power(across, along) / PITCH_UM**2
    white = np.random.default_rng(seed).standard_normal((SIDE, SIDE))
    return np.asarray(np.fft.irfft2(np.fft.rfft2(white) * np.sqrt(power)))


def test_the_power_of_a_grain_is_its_rms() -> None:
    """2π∫P f df over all frequencies is rms² (derived), to 0.1 % with a tail of 1/f left out."""
    f = np.geomspace(1e-5, 1e5, 20_001)
    power = GRAIN.power(f, np.zeros(())) * 1e-6
    total = np.trapezoid(2 * np.pi * f * power, f)
    assert_allclose(total, GRAIN.rms**2, rtol=1e-3)


def test_the_correlation_of_a_grain_falls_to_1_over_e() -> None:
    """At the correlation length neighbours of a drawn field are alike by exp(-1), within 0.03."""
    drawn, steps = field(1), 4
    near = np.mean(drawn[:, :-steps] * drawn[:, steps:]) / drawn.var()
    assert_allclose(near, np.exp(-1), atol=0.03)


def test_a_texture_is_measured_with_faults_left_out() -> None:
    """
    A field of known power, with black faults on 1 % of it, is measured to 10 % at each frequency.

    256 tiles: a median is right to 1/√256 · 1.44 = 9 % of one frequency; the mean over 30 to 2 %.
    """
    data = (0.4 * (1 + field(2))).astype(np.float32)
    clean = texture_of(tiles_of(ArrayReference(data=data, pixel_size_um=PITCH_UM)))
    data[300:340, 300:340] = 0.02
    data[700:760, 100:160] = 0.9
    faulty = texture_of(tiles_of(ArrayReference(data=data, pixel_size_um=PITCH_UM)))
    assert clean is not None
    assert faulty is not None
    f = np.linspace(4.0, 20.0, 30)
    told = GRAIN.power(f, f / 2)
    assert_allclose(np.mean(clean.power(f, f / 2) / told), 1, atol=0.05)
    assert_allclose(np.mean(faulty.power(f, f / 2) / told), 1, atol=0.08)
    assert_allclose(faulty.rms, clean.rms, rtol=0.05)


def test_what_is_too_small_has_no_texture() -> None:
    """Fewer than four tiles tell nothing."""
    data = np.ones((64, 128), dtype=np.float32)
    assert texture_of(tiles_of(ArrayReference(data=data, pixel_size_um=PITCH_UM))) is None
