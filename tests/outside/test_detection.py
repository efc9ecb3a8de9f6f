"""Detection against signal detection theory and geometry that is integrated another way."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import dblquad
from scipy.optimize import brentq
from scipy.stats import norm

from linesim.forward.station import Station, station
from linesim.metrics.defect_energy import energies
from linesim.metrics.defect_shapes import Disc, Scratch
from linesim.metrics.defect_sizes import disc_of, smallest_um
from linesim.metrics.detection import (
    alarm_threshold,
    cell_m2,
    detection_rate,
    dprime,
    false_alarms_per_m2,
    wanted_dprime,
)
from linesim.setup.load import changed, sample_setup

SETUP = changed(sample_setup(), {"camera.prnu": 0.0, "camera.dsnu": "0 e", "lens.blur": "0 um"})
NUMBERS = station(SETUP)
SIDE_UM = 75.0


def sharp(numbers: Station) -> Station:
    """Take the lens's blur away: a cut-off of some hundred cycles a pixel, and no motion."""
    lens = replace(numbers.optics, wavelength_um=0.002)
    when = replace(numbers.timing, exposure_us=1e-6)
    return replace(numbers, optics=lens, timing=when)


@pytest.mark.parametrize(
    ("index", "area"),
    [(0.5, 0.638163), (1, 0.760250), (2, 0.921350), (3, 0.983053), (5, 0.999797)],
)
def test_area_under_the_curve_of_two_gaussians(index: float, area: float) -> None:
    """
    The area under (false alarms, hits) over all thresholds is Φ(d'/√2) (`scipy.stats.norm`).

    d' = √2 Φ⁻¹(area) for equal variances: Hanley and McNeil, *Radiology* 143 (1982), from memory.
    """
    thresholds = np.linspace(12, -12, 4001)
    hits, alarms = detection_rate(index, thresholds), detection_rate(0.0, thresholds)
    assert_allclose(np.trapezoid(hits, alarms), area, atol=5e-6)


@pytest.mark.parametrize(("index", "rate"), [(2, 0.1378), (3, 0.4641), (5, 0.9719)])
def test_hit_rate_at_one_false_alarm_in_a_thousand(index: float, rate: float) -> None:
    """Φ(d' − Φ⁻¹(1−α)) at α = 1/1000, to the digits of the table (scipy.stats.norm)."""
    assert_allclose(detection_rate(index, norm.isf(1e-3)), rate, atol=5e-5)


def test_threshold_and_alarms_undo_each_other() -> None:
    """A threshold for so many alarms lets so many through; a cell's chance by `scipy.stats`."""
    for wanted in (1e-6, 0.01, 3.0, 1e4):
        threshold = alarm_threshold(NUMBERS, wanted)
        assert_allclose(false_alarms_per_m2(NUMBERS, threshold), wanted, rtol=1e-9)
        assert_allclose(norm.sf(threshold), wanted * (SIDE_UM * 1e-6) ** 2, rtol=1e-9)


def test_five_sigma_is_not_enough_for_a_metre_of_web() -> None:
    """
    A square metre of 75 µm samples has 1.8e8 chances: at 5 sigma 51 false alarms (derived).

    Φ(−5) = 2.87e-7, so of a million cells one in four is alarmed at least once: 1 − exp(−0.287).
    """
    assert_allclose(false_alarms_per_m2(NUMBERS, 5.0) * cell_m2(NUMBERS), 2.867e-7, rtol=1e-3)
    assert_allclose(false_alarms_per_m2(NUMBERS, 5.0), 2.8665e-7 / (75e-6) ** 2, rtol=1e-4)
    assert_allclose(1 - np.exp(-1e6 * norm.sf(5)), 0.249, atol=5e-4)


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


def test_small_faint_defects_trade_area_for_contrast() -> None:
    """Well under a pixel area times contrast counts: half of it needs √2 the size (derived)."""
    dim = changed(SETUP, {"light.illuminance": "4000 klx", "camera.full_well": "10 Me"})
    numbers = station(dim)
    one, half = (smallest_um(numbers, disc_of, 1.0, contrast=c) for c in (0.8, 0.4))
    assert float(one) < SIDE_UM / 5
    # a disc of d pixels loses (πd)²/16·⟨f²⟩ of its energy to its own size, here under 1 %
    assert_allclose(float(half) / float(one), np.sqrt(2), rtol=0.01)


def test_the_width_of_a_scratch_that_is_just_found() -> None:
    """
    A long scratch of under a pixel behind square pixels of side p, by `scipy.optimize.brentq`.

    Behind a pixel a width w is a trapezium of height w/p: Σs² = (w/p)²(1 − w/3p) in the mean over
    its places, times L/p − 1/3 along (derived). d' is CNR·√Σs²; it must be
    Φ⁻¹(rate) − Φ⁻¹(alarms a cell) (`scipy.stats`). 0.5 %: the rule of 32 nodes.
    """
    length_um = 750.0
    numbers = replace(sharp(NUMBERS), irradiance_w_m2=1e7 * NUMBERS.irradiance_w_m2)
    cnr = 0.2 * float(numbers.electrons_white / numbers.noise_e(numbers.electrons_white))
    wanted = norm.ppf(0.95) + norm.isf(0.01 * (SIDE_UM * 1e-6) ** 2)

    def missing(width_um: float) -> float:
        share = width_um / SIDE_UM
        seen = share**2 * (1 - share / 3) * (length_um / SIDE_UM - 1 / 3)
        return float(cnr * np.sqrt(seen) - wanted)

    truth = brentq(missing, 0.01, SIDE_UM)
    found = smallest_um(
        numbers,
        lambda width_um: Scratch(across_um=width_um, along_um=length_um),
        wanted_dprime(numbers, 0.95, 0.01),
        contrast=0.2,
    )
    assert_allclose(found, truth, rtol=5e-3)
