"""Detection against signal detection theory and geometry that is integrated another way."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import dblquad
from scipy.optimize import brentq

from linesim.forward.geometry import Figure
from linesim.forward.station import Station, station
from linesim.metrics.detection.energy import Disc, Scratch, Shape, energies
from linesim.metrics.detection.ground import ground
from linesim.metrics.detection.sighting import dprime, sighting_of
from linesim.metrics.detection.sizes import Goal, disc_of, sizes_um
from linesim.metrics.detection.texture import Grain
from linesim.setup.load import changed, sample_setup

SETUP = changed(sample_setup(), {"camera.prnu": 0.0, "camera.dsnu": "0 e", "lens.blur": "0 um"})
NUMBERS = station(SETUP)
SIDE_UM = 75.0


def sharp(numbers: Station) -> Station:
    """Take the lens's blur away: a cut-off of some hundred cycles a pixel, and no motion."""
    lens = replace(numbers.optics, wavelength_um=0.002)
    when = replace(numbers.timing, exposure_us=1e-6)
    return replace(numbers, optics=lens, timing=when)


def overlap(distance_um: float, diameter_um: float) -> float:
    """Area shared by two equal discs at a distance: two circular segments. [µm²]."""
    half, radius = distance_um / 2, diameter_um / 2
    if half >= radius:
        return 0.0
    return float(2 * radius**2 * np.arccos(half / radius) - 2 * half * np.sqrt(radius**2 - half**2))


@pytest.mark.parametrize("diameter_um", [20.0, 75.0, 200.0])
def test_energy_of_a_disc_behind_square_pixels(diameter_um: float) -> None:
    """
    The mean of Σs² is the disc's own overlap, weighted with the pixel's: an integral over places.

    ∫∫ overlap(r) Λ(x/p) Λ(y/p) dx dy / p⁴·p², by scipy's adaptive quadrature. 0.5 %: the rule of
    32 nodes, 0.2 % of d' at a cut-off of up to 60 per pixel, here 1000 times the pixel's.
    """
    reach = min(SIDE_UM, diameter_um)
    inner, _ = dblquad(
        lambda y, x: (
            overlap(float(np.hypot(x, y)), diameter_um) * (1 - x / SIDE_UM) * (1 - y / SIDE_UM)
        ),
        0,
        reach,
        0,
        reach,
        epsrel=1e-4,
    )
    found = energies(sharp(NUMBERS), Disc(diameter_um=diameter_um))
    assert_allclose(found.samples, 4 * inner / SIDE_UM**4, rtol=5e-3)


def test_a_wide_defect_gathers_contrast_to_noise_times_the_root_of_its_samples() -> None:
    """
    With n whole samples d' is CNR·√n (matched filter in white noise, from memory), less the rim.

    Behind a pixel of side p a square of side L is a trapezium each way, ∫s² = L − p/3. 0.5 %: the
    rule of 32 nodes, whose worst case is a square.
    """
    numbers, size_um = sharp(NUMBERS), 10 * SIDE_UM
    cnr = 0.2 * float(numbers.electrons_white / numbers.noise_e(numbers.electrons_white))
    got = float(dprime(numbers, Scratch(across_um=size_um, along_um=size_um), 0.2))
    assert_allclose(got, cnr * (10 - 1 / 3), rtol=5e-3)


def of_dprime(index: float) -> Goal:
    """Ask for a detectability."""
    return lambda seen: np.full(seen.dprime.shape, index)


def test_small_faint_defects_trade_area_for_contrast() -> None:
    """Well under a pixel area times contrast counts: half of it needs √2 the size (derived)."""
    dim = changed(SETUP, {"light.illuminance": "4000 klx", "camera.full_well": "10 Me"})
    numbers = station(changed(dim, {"camera.gain": "0.0003 DN/e"}))
    one, half = (
        sizes_um(numbers, disc_of, (of_dprime(1.0),), ground(numbers, 1.0, contrast))[0]
        for contrast in (0.8, 0.4)
    )
    assert float(one) < SIDE_UM / 5
    # a disc of d pixels loses (πd)²/16·⟨f²⟩ of its energy to its own size, here under 1 %
    assert_allclose(float(half) / float(one), np.sqrt(2), rtol=0.01)


def test_the_width_of_a_scratch_that_is_just_found() -> None:
    """
    A long scratch of under a pixel behind square pixels of side p, by `scipy.optimize.brentq`.

    Behind a pixel a width w is a trapezium of height w/p: Σs² = (w/p)²(1 − w/3p) in the mean over
    its places, times L/p − 1/3 along (derived); d' is CNR·√Σs². 0.5 %: the rule of 32 nodes.
    """
    length_um, wanted = 750.0, 8.0
    free = replace(NUMBERS.sensor, full_well_e=1e15, full_scale_dn=1e15)
    bright = replace(NUMBERS, irradiance_w_m2=1e7 * np.asarray(NUMBERS.irradiance_w_m2))
    numbers = replace(sharp(bright), sensor=free)
    cnr = 0.2 * float(numbers.electrons_white / numbers.noise_e(numbers.electrons_white))

    def missing(width_um: float) -> float:
        share = width_um / SIDE_UM
        seen = share**2 * (1 - share / 3) * (length_um / SIDE_UM - 1 / 3)
        return float(cnr * np.sqrt(seen) - wanted)

    def scratch(width_um: Figure) -> Shape:
        return Scratch(across_um=width_um, along_um=length_um)

    truth = brentq(missing, 0.01, SIDE_UM)
    (found,) = sizes_um(numbers, scratch, (of_dprime(wanted),), ground(numbers, 1.0, 0.2))
    assert_allclose(found, truth, rtol=5e-3)


def mean_overlap(distance_px: np.ndarray, length_px: float) -> np.ndarray:
    """Correlation exp(-r/ℓ) between two pixels: the mean over both squares, on 24 x 24 points."""
    points = (np.arange(24) + 0.5) / 24 - 0.5
    off = (points[:, None] - points[None, :]).ravel()
    ways = np.hypot(distance_px[0] + off[:, None], distance_px[1] + off[None, :])
    return np.asarray(np.exp(-ways / length_px).mean())


def test_the_prewhitened_filter_is_the_best_linear_one() -> None:
    """
    In texture d'² = sᵀ C⁻¹ s, C the covariance of the samples (Barrett and Myers, from memory).

    C is built sample by sample: white noise, and exp(-r/ℓ) averaged over pairs of pixels; s is a
    disc drawn on a fine grid at 4 x 4 phases. 2 %: what a window of 15 samples leaves out.
    """
    count, length, rms, size = 15, 1.5, 0.05, 2.0
    numbers = sharp(NUMBERS)
    base = ground(numbers, 1.0, 0.2, Grain(rms=rms, correlation_um=length * SIDE_UM))
    lags = {
        (i, j): float(mean_overlap(np.array([i, j], dtype=float), length))
        for i in range(count)
        for j in range(i + 1)
    }
    place = np.stack(np.divmod(np.arange(count**2), count))
    apart = np.abs(place[:, :, None] - place[:, None, :])
    apart = np.sort(apart, axis=0)[::-1]
    table = np.zeros((count, count))
    for (i, j), value in lags.items():
        table[i, j] = value
    level_e, noise_e = float(base.level_e), float(base.noise_e)
    covariance = (rms * level_e) ** 2 * table[apart[0], apart[1]] + noise_e**2 * np.eye(count**2)
    fine = (np.arange(count * 32) + 0.5) / 32 - count / 2
    squares = []
    for along, across in np.ndindex(4, 4):
        y, x = fine[:, None] - (along - 1.5) / 4, fine[None, :] - (across - 1.5) / 4
        inside = (np.hypot(y, x) < size / 2).reshape(count, 32, count, 32).mean(axis=(1, 3))
        s_e = float(base.depth_e) * inside.ravel()
        squares.append(s_e @ np.linalg.solve(covariance, s_e))
    seen = sighting_of(numbers, base)(Disc(diameter_um=size * SIDE_UM))
    assert_allclose(float(seen.dprime), np.sqrt(np.mean(squares)), rtol=0.02)


def test_where_texture_rules_more_light_does_not_help() -> None:
    """Ten times the light lifts d' by under 2 % in strong texture, by √10 without (derived)."""
    brighter = replace(NUMBERS, irradiance_w_m2=10 * np.asarray(NUMBERS.irradiance_w_m2))
    free = replace(brighter.sensor, full_well_e=1e9, full_scale_dn=1e9, read_noise_e=0.0)
    numbers = replace(brighter, sensor=free)
    dim = replace(numbers, irradiance_w_m2=NUMBERS.irradiance_w_m2)
    rough = Grain(rms=0.3, correlation_um=60.0)
    disc = Disc(diameter_um=300.0)
    gains = [
        float(dprime(numbers, disc, 0.1, 1.0, each) / dprime(dim, disc, 0.1, 1.0, each))
        for each in (rough, None)
    ]
    assert gains[0] < 1.02
    assert gains[1] > 3
