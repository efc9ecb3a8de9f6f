"""Bars of a simulated scan against textbook transfer and Coltman's series."""

from pathlib import Path

import numpy as np
import pytest

from linesim import changed, load_setup, measure, scan
from linesim.forward.station import station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.measure.bars.study import MeasuredBars

ROOT = Path(__file__).parents[2]
PITCH_MM = 0.075
REFERENCE_MM = 0.01875
SETUP = changed(load_setup(ROOT / "sample_targets" / "bars.toml"), {"camera.prnu": 0.0})


def cutoff_cyc_px(setup: Setup) -> float:
    """Cut-off of the lens in cycles per object pixel."""
    optics = station(setup).optics
    return float(optics.cutoff_lp_mm * optics.magnification) * PITCH_MM


def transfer(frequency_cyc_px: FloatArray, direction: str) -> FloatArray:
    """
    Textbook transfer from what is drawn to the image.

    Circular pupil (2/π)(arccos ν − ν √(1 − ν²)); a Gaussian of 2 um at a sensor pixel of 7.5 um;
    a pixel, along travel twice, for the line moves by its own height while it is exposed; twice
    the reference's pixel of a quarter (what is drawn is averaged over it and then fills it).
    """
    f = np.asarray(frequency_cyc_px, dtype=float)
    nu = np.clip(f / cutoff_cyc_px(SETUP), 0, 1)
    lens = 2 / np.pi * (np.arccos(nu) - nu * np.sqrt(1 - nu * nu))
    blur = np.exp(-2 * (np.pi * f * 2.0 / 7.5) ** 2)
    pixel = np.sinc(f) ** (1 if direction == "across" else 2)
    return np.asarray(lens * blur * pixel * np.sinc(f * REFERENCE_MM / PITCH_MM) ** 2)


def coltman(frequency_cyc_px: float, direction: str) -> float:
    """4/π (M(f) − M(3f)/3 + M(5f)/5 − …), from memory; nothing is left above the cut-off."""
    n: FloatArray = 2.0 * np.arange(200.0) + 1.0
    sign = np.where(n % 4 == 1, 1.0, -1.0)
    return 4 / np.pi * float(np.sum(sign / n * transfer(n * frequency_cyc_px, direction)))


def allowed(frequency_cyc_px: float, direction: str) -> float:
    """
    Bound the systematic error of the response.

    Samples fold 1 − f back: |P(1−f) M(1−f)| / |P(f)|, P(ν) = sinc(νw) (1 + 2 cos 4πνw) the
    spectrum of three bars. The lens spreads 2/(π³ f_c x) of the light beyond x to either side;
    over the bars' distances from the window's ends, 1.5, 3.5 and 5.5 widths, that is 0.0488/(f_c w)
    of it, which the plain sum misses.
    """
    f, w = frequency_cyc_px, 0.5 / frequency_cyc_px

    def spectrum(nu: float) -> float:
        return float(abs(np.sinc(nu * w) * (1 + 2 * np.cos(4 * np.pi * nu * w))))

    here, there = transfer(np.array([f, 1 - f]), direction)
    fold = spectrum(1 - f) * abs(float(there)) / spectrum(f)
    return fold + float(here) * 0.0488 / (cutoff_cyc_px(SETUP) * w)


@pytest.fixture(scope="module")
def found() -> MeasuredBars:
    """Give the bars of a scan without fixed pattern."""
    return measure.bars(scan(SETUP).image, setup=SETUP, bit_depth=12)


@pytest.mark.parametrize("direction", ["across", "along"])
def test_bars_of_a_scan_are_those_of_the_textbook(found: MeasuredBars, direction: str) -> None:
    """
    Response within its derived error and four and a half standard deviations, group by group.

    Contrast as well, and 0.05 more for the harmonics that the samples do not hold.
    """
    sets = [each for each in found.sets if each.alternates == direction and each.resolved]
    assert len(sets) == 15
    for each in sets:
        assert each.figures is not None
        f, figures = each.frequency_cyc_px, each.figures
        limit = allowed(f, direction) + 4.5 * figures.mtf.sd
        truth = float(transfer(np.array([f]), direction)[0])
        assert figures.mtf.value == pytest.approx(truth, abs=limit)
        assert figures.contrast.value == pytest.approx(
            coltman(f, direction), abs=4 / np.pi * limit + 0.05
        )


@pytest.mark.parametrize("direction", ["across", "along"])
def test_the_closed_forms_beside_are_the_textbooks(found: MeasuredBars, direction: str) -> None:
    """The columns beside the measured ones: formulas derived above, the series from memory."""
    for each in found.sets:
        if each.alternates == direction:
            f = each.frequency_cyc_px
            truth = float(transfer(np.array([f]), direction)[0])
            assert each.expected_mtf == pytest.approx(truth, rel=1e-6)
            assert each.expected_contrast == pytest.approx(coltman(f, direction), abs=1e-6)


def test_the_series_is_that_of_the_standard(found: MeasuredBars) -> None:
    """Frequencies 2^(group + (element − 1)/6) lp/mm (MIL-STD-150A, 5.1.1.7): 1.00 to 5.66."""
    across = [each for each in found.sets if each.alternates == "across"]
    assert [f"{each.frequency_lp_mm:.2f}" for each in across][:3] == ["1.00", "1.12", "1.26"]
    for each in across:
        group, element = map(int, each.name.split("/"))
        assert each.frequency_lp_mm == pytest.approx(2 ** (group + (element - 1) / 6), rel=1e-9)
        assert each.bar_um == pytest.approx(500 / 2 ** (group + (element - 1) / 6), rel=1e-9)
