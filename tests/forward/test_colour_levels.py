"""
Signal of each colour channel, against spectral integrals that this project did not write.

Lights and V(λ) come from colour-science (CIE tables), integrals from SciPy, h and c from the SI.
Bands of a reference in red, green and blue: above 580 nm, 490 to 580 nm, below 490 nm.
"""

import warnings
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy import constants
from scipy.integrate import simpson, trapezoid

from linesim.figures.budget import budget
from linesim.forward.station import station
from linesim.metrics.flat.noise import flat_figures
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.study import Scan, scan
from tests.stations import plain_setup

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # tells of optional packages that are not needed here
    import colour

COLOURS = ("red", "green", "blue")
BANDS_NM = ((580.0, 780.0), (490.0, 580.0), (380.0, 490.0))
# 40 klx, ρ 0.8, τ 0.9, N 4, m 0.1, 7.5 µm, 50 µs
BASE = plain_setup(
    "Colour levels",
    target={"pixel_size": "75 um", "width": "20 mm", "height": "20 mm", "white_reflectance": 0.8},
    lens={"f_number": 4.0, "transmission": 0.9},
    light={"spectrum": "LED-B3"},
    camera={
        "kind": "prism",
        "pixels": 128,
        "quantum_efficiency": 0.5,
        "read_noise": "10 e",
        "gain": "0.5 DN/e",
        "black_level": "64 DN",
        "full_well": "40 ke",
    },
    acquisition={"exposure": "50 us", "lines": 256},
)
KINDS = ({"camera.kind": "prism"}, {"camera.kind": "three-line", "camera.line_spacing": "30 um"})


def light_of(name: str) -> tuple[FloatArray, FloatArray]:
    """Power of a CIE light at every nanometre from 380 to 780, and V(λ) there."""
    shape = colour.SpectralShape(380, 780, 1)
    power = colour.SDS_ILLUMINANTS[name].copy().align(shape).values
    photopic = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"].copy().align(shape).values
    return np.asarray(power), np.asarray(photopic)


GRID_NM = np.arange(380.0, 781.0)


def sensor_photons_per_nm(name: str, illuminance_lx: float) -> FloatArray:
    """Photons a nanometre on one pixel in one exposure, at every nanometre from 380 to 780."""
    power, photopic = light_of(name)
    irradiance = illuminance_lx / (683.002 * trapezoid(power * photopic, GRID_NM))  # for this power
    at_sensor = irradiance * power * 0.8 * 0.9 / (4 * (4.0 * 1.1) ** 2)
    joules = at_sensor * (7.5e-6) ** 2 * 50e-6
    return np.asarray(joules * GRID_NM * 1e-9 / (constants.h * constants.c))


def inside(per_nm: FloatArray, band_nm: tuple[float, float]) -> float:
    """Sum over a band."""
    chosen = (band_nm[0] <= GRID_NM) & (band_nm[1] >= GRID_NM)
    return float(trapezoid(per_nm[chosen], GRID_NM[chosen]))


def through(curve: FloatArray, per_nm: FloatArray, band_nm: tuple[float, float]) -> float:
    """Sum a product over a band; both are straight lines, for which Simpson's rule is exact."""
    fine_nm = np.arange(band_nm[0], band_nm[1] + 0.25, 0.5)
    product = np.interp(fine_nm, GRID_NM, curve) * np.interp(fine_nm, GRID_NM, per_nm)
    return float(simpson(product, x=fine_nm))


def by_colour(found: object) -> FloatArray:
    """Values of red, green and blue."""
    assert isinstance(found, dict)
    return np.array([found[name] for name in COLOURS])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("light", ["LED-B3", "D65", "A"])
def test_one_number_sees_its_own_band(light: str, kind: dict[str, str]) -> None:
    """
    A quantum efficiency as a number counts the photons of its colour's band alone.

    The two sums share their grid of whole nanometres, where the bands' edges lie; 1e-6 leaves room
    for six-digit tables.
    """
    per_nm = sensor_photons_per_nm(light, 40_000.0)
    efficiency = {"red": 0.5, "green": 0.6, "blue": 0.4}
    setup = changed(
        BASE, {"light.spectrum": light, "camera.quantum_efficiency": efficiency, **kind}
    )
    expected = [
        efficiency[name] * inside(per_nm, band)
        for name, band in zip(COLOURS, BANDS_NM, strict=True)
    ]
    assert_allclose(by_colour(budget(setup)["signal"]["electrons_white"]), expected, rtol=1e-6)


def test_the_bands_make_up_a_mono_camera() -> None:
    """Three bands of one efficiency hold all electrons of a mono camera: 4690.07 e at η 0.5."""
    mono = changed(BASE, {"camera.kind": "mono"})
    whole = float(station(mono).electrons_white)
    assert whole == pytest.approx(0.5 * inside(sensor_photons_per_nm("LED-B3", 4e4), (380, 780)))
    assert whole == pytest.approx(4690.07, abs=5e-3)
    assert np.sum(station(BASE).electrons_white) == pytest.approx(whole, rel=1e-12)


def test_light_share_multiplies() -> None:
    """Each colour gets its own share of the light, and its exposure nothing else."""
    share = {"red": 0.9, "green": 0.8, "blue": 0.3}
    split = changed(BASE, {"camera.light_share": share})
    ratio = np.asarray(station(split).electrons_white) / np.asarray(station(BASE).electrons_white)
    assert_allclose(ratio, [0.9, 0.8, 0.3], rtol=1e-12)
    third = np.asarray(station(changed(BASE, {"camera.light_share": 0.33})).electrons_white)
    assert_allclose(third / np.asarray(station(BASE).electrons_white), 0.33, rtol=1e-12)


CENTRES_NM = np.array([610.0, 540.0, 460.0])
CURVES = 0.6 * np.exp(-0.5 * ((GRID_NM - CENTRES_NM[:, None]) / 35.0) ** 2)
"""Bell-shaped efficiencies with their filters in them, overlapping."""


def with_curves(folder: Path) -> Setup:
    """Write one file a colour, and a camera that has them."""
    names = {}
    for name, curve in zip(COLOURS, CURVES, strict=True):
        names[name] = f"{name}.csv"
        table = np.stack([GRID_NM, curve], axis=1)
        np.savetxt(folder / names[name], table, fmt="%.17g", delimiter=",")
    texts = changed(BASE, {"camera.kind": "prism"}).texts
    camera = {**texts["camera"], "quantum_efficiency": names}
    return setup_from({**texts, "camera": camera}, folder)


def test_a_curve_a_colour_is_taken_as_it_is(tmp_path: Path) -> None:
    """Electrons ∫η(λ)·photons dλ of the whole light, no band cut off; 1e-6 for the tables."""
    per_nm = sensor_photons_per_nm("LED-B3", 40_000.0)
    expected = [through(curve, per_nm, (380.0, 780.0)) for curve in CURVES]
    found = by_colour(budget(with_curves(tmp_path))["signal"]["electrons_white"])
    assert_allclose(found, expected, rtol=1e-6)


TILES = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.2, 0.5, 0.9]])


def seen(setup: Setup) -> FloatArray:
    """
    Electrons expected of four even targets in red, green and blue reflectance.

    Shape (targets, channels).
    """
    found = []
    for tile in TILES:
        target: ImageArray = np.broadcast_to(tile, (8, 8, 3)).astype(np.float32)
        expected = scan(changed(setup, {"acquisition.lines": 2}), reference=target).expected_e
        found.append(np.atleast_3d(expected).mean(axis=(0, 1), dtype=np.float64))
    return np.array(found)


def test_colours_on_a_mono_camera() -> None:
    """Red, green and blue reflectance weigh as the electrons of their bands (float32: 1e-6)."""
    per_nm = sensor_photons_per_nm("LED-B3", 40_000.0)
    bands = 0.5 * np.array([inside(per_nm, band) for band in BANDS_NM])
    found = seen(changed(BASE, {"camera.kind": "mono"}))
    assert_allclose(found[:, 0], TILES @ bands, rtol=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_colours_on_a_colour_camera(kind: dict[str, str]) -> None:
    """With one number, each channel sees its own colour of the target alone."""
    per_nm = sensor_photons_per_nm("LED-B3", 40_000.0)
    bands = 0.5 * np.array([inside(per_nm, band) for band in BANDS_NM])
    assert_allclose(seen(changed(BASE, kind)), TILES * bands, rtol=1e-6)


def test_colours_through_overlapping_curves(tmp_path: Path) -> None:
    """With a curve each, a channel sees every band of the target, as its curve reaches there."""
    per_nm = sensor_photons_per_nm("LED-B3", 40_000.0)
    reach = np.array([[through(curve, per_nm, band) for band in BANDS_NM] for curve in CURVES])
    assert reach[0, 1] > 0.02 * reach[0, 0]  # they do overlap
    found = seen(with_curves(tmp_path))
    assert_allclose(found, TILES @ reach.T, rtol=1e-6)


def test_grey_is_grey_to_every_channel(tmp_path: Path) -> None:
    """A grey reference is the same for every channel as one without colours."""
    setup = changed(with_curves(tmp_path), {"acquisition.lines": 2})
    grey = np.full((8, 8), 0.4, dtype=np.float32)
    one = scan(setup, reference=grey).expected_e
    three = scan(setup, reference=np.repeat(grey[:, :, None], 3, axis=2)).expected_e
    assert_allclose(three, one, rtol=1e-6)


WARM = changed(BASE, {"light.spectrum": "A", "light.illuminance": "30 klx"})
BALANCED = changed(WARM, {"acquisition.white_balance": "grey-card"})


def planes(found: Scan) -> list[NDArray[np.uint16]]:
    """Give one image a channel."""
    return [found.image[:, :, index] for index in range(3)]


def test_white_balance_brings_the_whites_together() -> None:
    """
    Under tungsten light red, green and blue differ by their bands; balanced, white is one number.

    The strongest keeps its own. In the image each mean stays within 4σ/√N of that number, σ as the
    channel's own amplified noise.
    """
    per_nm = sensor_photons_per_nm("A", 30_000.0)
    signal_e = 0.5 * np.array([inside(per_nm, band) for band in BANDS_NM])
    factor = signal_e.max() / signal_e
    assert factor.max() > 5
    plain = by_colour(budget(WARM)["signal"]["dn_white"])
    told = by_colour(budget(BALANCED)["signal"]["dn_white"])
    assert_allclose(plain - 64, 0.5 * signal_e, rtol=1e-6)
    assert_allclose(told - 64, 0.5 * signal_e.max(), rtol=1e-6)
    for image, value, gain, level in zip(
        planes(scan(BALANCED, seed=3)), told, factor, signal_e, strict=True
    ):
        sd_dn = 0.5 * gain * np.sqrt(level + 100 + 1 / 3)
        assert image.mean(dtype=np.float64) == pytest.approx(value, abs=4 * sd_dn / image.size**0.5)


def test_white_balance_amplifies_the_noise() -> None:
    """
    A channel's noise grows by its factor, its SNR stays but for that rounding.

    Temporal variance b²·(K²(S + σ²) + 1/12), and 1/12 DN² more from the second rounding where b is
    not 1; known to √(2/N) of itself, N samples.
    """
    found = scan(BALANCED, seed=4)
    signal_e = np.asarray(station(BALANCED).electrons_white)
    factor = signal_e.max() / signal_e
    variances = factor**2 * (0.25 * (signal_e + 100) + 1 / 12) + np.where(factor > 1, 1 / 12, 0)
    for image, variance in zip(planes(found), variances, strict=True):
        seen_dn2 = flat_figures(image).temporal_noise_dn ** 2
        assert seen_dn2 == pytest.approx(variance, rel=4 * np.sqrt(2 / image.size))
    one, other = (by_colour(budget(each)["signal"]["snr_white"]) for each in (WARM, BALANCED))
    assert_allclose(other, factor * 0.5 * signal_e / np.sqrt(variances), rtol=1e-12)
    assert_allclose(other, one, rtol=1e-4)
    measured = by_colour(found.measured["snr_white"])
    assert_allclose(measured, one, rtol=4 * np.sqrt(1 / found.image[:, :, 0].size))


def test_a_balanced_channel_is_full_at_full_scale() -> None:
    """
    Twice the light that fills the word: every colour of white reads 4095, no more is told.

    A weak colour, amplified, reaches the end of the word with as many electrons less.
    """
    numbers = station(BALANCED)
    word_e = (4095 - 64) / 0.5
    factor = np.max(numbers.electrons_white) / np.asarray(numbers.electrons_white)
    assert_allclose(np.asarray(numbers.saturation_e), word_e / factor, rtol=1e-12)
    times = 2 * word_e / float(np.max(numbers.electrons_white))
    bright = changed(BALANCED, {"light.illuminance": f"{30 * times!r} klx"})
    signal = budget(bright)["signal"]
    assert signal["saturation_limit"] == "scale"
    assert_allclose(by_colour(signal["dn_white"]), 4095, rtol=1e-12)
    assert_allclose(by_colour(signal["saturation_white"]), 2, rtol=1e-9)
    # the weakest colour's electrons still lie 8σ over those that fill the word
    twice_e = 2 * word_e / factor.max()
    assert twice_e / 2 > 8 * np.sqrt(twice_e + 100 + 1 / 3)
    assert scan(bright, seed=5).image.min() == 4095
