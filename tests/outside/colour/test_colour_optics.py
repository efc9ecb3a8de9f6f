"""
Diffraction by colour, against integrals over the CIE's own table of the lamp.

The spectrum is LED-B3 as colour-science carries it (CIE 15:2018), the transfer of a circular pupil
that of any textbook on Fourier optics, (2/π)(arccos ν - ν√(1-ν²)); nothing of linesim is in the
expected values. Bands meet at 490 and 580 nm.
"""

import warnings
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.forward.lens import channel_wavelengths_nm, optics
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed, sample_setup

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # tells of optional packages that are not needed here
    import colour

LAMP = colour.SDS_ILLUMINANTS["LED-B3"]
BANDS = {"red": (580.0, 780.0), "green": (490.0, 580.0), "blue": (380.0, 490.0)}
PRISM: dict[str, Any] = {
    "camera.kind": "prism",
    "lens.f_number": 8.0,
    "lens.magnification": 0.1,
    "lens.blur": "0 um",
}


def photons(low_nm: float, high_nm: float) -> tuple[FloatArray, FloatArray]:
    """Photons of the lamp between two wavelengths, on a fine grid."""
    grid = np.linspace(low_nm, high_nm, 4001)
    return grid, np.interp(grid, LAMP.wavelengths, LAMP.values) * grid


def mean_nm(low_nm: float, high_nm: float) -> float:
    """Give their mean wavelength."""
    grid, number = photons(low_nm, high_nm)
    return float(np.trapezoid(number * grid, grid) / np.trapezoid(number, grid))


def pupil(nu: FloatArray) -> FloatArray:
    """Transfer of a circular pupil."""
    nu = np.minimum(nu, 1)
    return np.asarray(2 / np.pi * (np.arccos(nu) - nu * np.sqrt(1 - nu**2)))


def test_each_colour_has_the_mean_wavelength_of_its_band() -> None:
    """To 0.2 nm, the step of a table of 5 nm read by straight lines."""
    found = np.asarray(channel_wavelengths_nm(changed(sample_setup(), PRISM)))
    assert_allclose(found, [mean_nm(*BANDS[name]) for name in BANDS], rtol=0, atol=0.2)


def test_lens_at_nyquist_by_colour() -> None:
    """
    f/8, m = 0.1, 7.5 µm: 0.537 red, 0.602 green, 0.664 blue, not 0.579 for all.

    Run apart from the same table; three digits.
    """
    setup = changed(sample_setup(), {**PRISM, "camera.pixel_width": "7.5 um"})
    told = {
        name: float(pupil(np.array(500 / 7.5 * mean_nm(*BANDS[name]) * 8.8e-6))) for name in BANDS
    }
    assert told == pytest.approx({"red": 0.537, "green": 0.602, "blue": 0.664}, abs=6e-4)
    lens = optics(setup).mtf(500 / 7.5)
    assert_allclose(lens, list(told.values()), rtol=0, atol=5e-4)
    seen = budget(setup)["resolution"]["mtf_nyquist_x"]
    # a pixel of a box leaves 2/π at its Nyquist frequency
    assert seen == pytest.approx({name: at * 2 / np.pi for name, at in told.items()}, abs=5e-4)


@pytest.mark.parametrize("name", ["white", "red", "green", "blue"])
def test_fine_pixels_see_the_average_over_the_band(name: str) -> None:
    """
    With Nyquist beyond half the cut-off the transfer is the spectral integral, to 0.002.

    One wavelength would be 0.025 off for the whole lamp.
    """
    changes = {"lens.f_number": 16.0, "lens.blur": "0 um", "camera.pixel_width": "3.5 um"}
    whole = name == "white"
    setup = changed(sample_setup(), changes if whole else {**PRISM, **changes})
    limits = (380.0, 780.0) if whole else BANDS[name]
    lens = optics(setup).of_channel(0 if whole else list(BANDS).index(name))
    grid, number = photons(*limits)
    # cycles/mm at the sensor; N_w = 17.6
    frequency = np.linspace(0, 160, 161)
    nu = np.multiply.outer(frequency, grid * 17.6e-6)
    told = np.trapezoid(pupil(nu) * number, grid) / np.trapezoid(number, grid)
    assert_allclose(lens.mtf(frequency), told, rtol=0, atol=2e-3)
    if whole:
        alone = pupil(frequency * mean_nm(*limits) * 17.6e-6)
        assert np.abs(alone - told).max() > 0.02
