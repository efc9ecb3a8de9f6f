"""The lens against closed forms, worked numbers and a numerical pupil; what is derived says so."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import j1

from linesim.figures.budget import budget
from linesim.figures.resolution import mtf_across, resolution_group
from linesim.forward.lens import Optics, box_mtf, diffraction_mtf, disc_mtf, gaussian_mtf, optics
from linesim.forward.profile import off_axis_share
from linesim.forward.station import Station, station
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from tests.stations import plain_setup

BASE = plain_setup(
    "Optics",
    target={"width": "40 mm", "height": "40 mm"},
    camera={"pixels": 512, "pixel_width": "7 um"},
    acquisition={"exposure": "full"},
)


def lens(**values: float) -> Optics:
    """50 mm f/4 at m = 0.1 in green light, with some values of its own."""
    plain: dict[str, Any] = {
        "magnification": 0.1,
        "f_number": 4.0,
        "transmission": 0.9,
        "wavelength_um": 0.55,
        "blur_um": 0.0,
        "defocus_mm": 0.0,
    }
    return Optics(**{**plain, **values})


def test_diffraction_table() -> None:
    """
    Circular pupil at ν = 0.1 to 0.9, and where it falls to 50, 20 and 10 %.

    Overlap of two discs, (2/π)[arccos ν − ν√(1−ν²)] (derived; a standard formula of Fourier
    optics); its values by `math`, its crossings by `scipy.optimize.brentq`, to the last digit.
    """
    table = [0.872889, 0.747060, 0.623838, 0.504632, 0.391002, 0.284757, 0.188120, 0.104088]
    assert_allclose(diffraction_mtf(np.arange(1, 10) / 10), [*table, 0.037386], atol=5e-7)
    assert_allclose(
        diffraction_mtf(np.array([0.403973, 0.687049, 0.805384])), [0.5, 0.2, 0.1], atol=1e-6
    )
    assert_allclose(
        diffraction_mtf(np.array([0.0, 1.0, 1.5, -0.1])), [1, 0, 0, 0.872889], atol=5e-7
    )


def test_diffraction_is_the_autocorrelation_of_a_disc() -> None:
    """
    Pupil of 256 samples radius on 1024², correlated with itself by `numpy.fft`.

    In each of 512 rows both ends of the overlap are rounded to whole samples: standard deviation
    √(512/6) of 2.06·10⁵ samples, 4.5e-5; four of these.
    """
    size, radius = 1024, 256.0
    y, x = np.mgrid[:size, :size] - size / 2
    disc = (np.hypot(x, y) < radius).astype(float)
    correlation = np.fft.irfft2(np.abs(np.fft.rfft2(disc)) ** 2)[0, : size // 2 + 1]
    shift = np.arange(size // 2 + 1) / (2 * radius)
    assert_allclose(diffraction_mtf(shift), correlation / correlation[0], atol=1.8e-4)


@pytest.mark.parametrize(
    ("f_number", "wavelength_um", "cutoff", "at_50", "at_100"),
    [
        (4.0, 0.55, 454.545, 0.860227, 0.722164),
        (5.6, 0.55, 324.675, 0.804699, 0.614134),
        (8.0, 0.53, 235.849, 0.732109, 0.476789),
        (11.0, 0.63, 144.300, 0.567817, 0.194516),
    ],
)
def test_diffraction_of_real_stops(
    f_number: float, wavelength_um: float, cutoff: float, at_50: float, at_100: float
) -> None:
    """Cut-off 1/(λN), MTF at 50 and 100 cycles/mm, distant target (derived, as the table)."""
    # m = 1e-12: the working f-number is the engraved one
    far = lens(f_number=f_number, wavelength_um=wavelength_um, magnification=1e-12)
    assert far.cutoff_lp_mm == pytest.approx(cutoff, abs=5e-4)
    assert_allclose(far.mtf(np.array([50.0, 100.0])), [at_50, at_100], atol=5e-7)


def test_camera_equation() -> None:
    """
    E' = ρ E τ/(4 N²(1+m)²): ρ 0.5, τ 0.9, N 4, m 0.1 give 0.00581095.

    Derived: a matt surface has the radiance L = ρE/π, and a lens of working f-number N(1+m) gives
    the image π L τ/(4 (N(1+m))²); pupil magnification 1, small angles.
    """
    assert 0.5 * lens().share_to_sensor == pytest.approx(0.00581095, abs=5e-9)
    assert lens().working_f_number == pytest.approx(4.4, rel=1e-12)


def test_cos4_falloff() -> None:
    """5, 10, 15, 20, 30 and 45° off the axis (law from memory), tan θ = x/(f(1+m)), P = 1."""
    angle = np.radians([0, 5, 10, 15, 20, 30, 45])
    x_um = 1000 * 50 * 1.1 * np.tan(angle)
    told = [1, 0.984865, 0.940602, 0.870513, 0.779728, 0.5625, 0.25]
    assert_allclose(off_axis_share(x_um, 0.1, 50.0), told, atol=5e-7)
    assert_allclose(off_axis_share(x_um, 0.1, None), 1, rtol=0)


def test_defocus_disc_against_thin_lens() -> None:
    """
    C = f²(S/S_a − 1)/(N(S−f)) (derived, thin lens), f 50 mm, N 4, S = 550 mm, 1 mm off: 2.26860 µm.

    The package takes the first order, m²δ/(N(1+m)) = 2.27273 µm: larger by δ/S = 1/550.
    """
    exact = 1000 * 50**2 * (1 - 550 / 551) / (4 * (550 - 50))
    assert exact == pytest.approx(2.26860, abs=5e-6)
    disc = lens(defocus_mm=1.0).defocus_disc_um
    assert disc == pytest.approx(2.27273, abs=5e-6)
    assert disc == pytest.approx(exact * 551 / 550, rel=1e-9)
    assert lens(defocus_mm=-1.0).defocus_disc_um == pytest.approx(disc, rel=1e-12)


def test_defocus_transfer() -> None:
    """Disc, 2J₁(πdf)/(πdf) (`scipy.special`): 0 at 1.219670, ½ at 0.705085, 0.721703 at 0.5."""
    found = disc_mtf(np.array([0.0, 1.219670, 0.705085, 0.5]))
    assert_allclose(found, [1, 0, 0.5, 0.721703], atol=1e-6)


@pytest.mark.parametrize("waves", [0.1, 0.25, 0.5, 0.75, 1, 2, 4, 8])
def test_defocused_transfer_against_the_pupil(waves: float) -> None:
    """
    Autocorrelation of a round pupil with a path error of w waves at its rim, by FFT (numpy).

    Stokseth's formula is within 0.017 of it, worst at ¾ of a wave; the pupil's own grid, 180 pixels
    in radius, adds 0.002. d = 8wλN_w. The geometric disc alone misses by up to 0.22.
    """
    radius, size = 180, 768
    y, x = np.mgrid[:size, :size] - (size - 1) / 2
    squared = (x * x + y * y) / radius**2
    pupil = np.where(squared <= 1, np.exp(2j * np.pi * waves * squared), 0)
    overlap = np.fft.ifft2(np.abs(np.fft.fft2(pupil)) ** 2)[0, : 2 * radius].real
    focused = lens()
    wave_mm = float(focused.wavelength_um) / 1000 * 4.4
    away_mm = 8 * waves * wave_mm * 4.4 / 0.1**2  # m²δ/N_w = 8wλN_w
    nu = np.arange(2 * radius) / (2 * radius)
    found = lens(defocus_mm=away_mm).mtf(nu / wave_mm)
    assert np.abs(found - overlap / overlap[0]).max() < 0.019
    if 0.2 < waves < 2:
        alone = pupil_mtf(focused, nu / wave_mm) * disc_mtf(8 * waves * nu)
        assert np.abs(alone - overlap / overlap[0]).max() > 0.1


def test_depth_of_field() -> None:
    """
    50 mm, N 4, m 0.1, c 7 µm: hyperfocal formulas 6.16019 mm; 2cN(1+m)/m² = 6.16 mm.

    H = f²/(Nc) + f, near S(H−f)/(H+S−2f), far S(H−f)/(H−S) (from memory; their first order is the
    package's, so they part by (S/H)² = 4e-5).
    """
    f, n, c, s = 50.0, 4.0, 0.007, 550.0
    h = f**2 / (n * c) + f
    depth = s * (h - f) / (h - s) - s * (h - f) / (h + s - 2 * f)
    assert depth == pytest.approx(6.16019, abs=5e-6)
    found = budget(BASE)["geometry"]["depth_of_field_mm"]
    assert found == pytest.approx(6.16, rel=1e-12)
    assert found == pytest.approx(depth, rel=(s / h) ** 2)


def test_working_distance() -> None:
    """Thin lens (derived), f 50 mm at m 0.1: the target is f(1 + 1/m) = 550 mm away."""
    found = budget(changed(BASE, {"lens.focal_length": "50 mm"}))["geometry"]
    assert found["working_distance_mm"] == pytest.approx(550, rel=1e-12)


def test_transfer_of_a_gaussian() -> None:
    """Half at σf = √(ln 2/2)/π = 0.187391 (derived); jitter of 0.1 px at Nyquist 0.951850."""
    assert_allclose(gaussian_mtf(np.array([0.187391, 0.05])), [0.5, 0.951850], atol=2e-6)


def test_transfer_of_motion() -> None:
    """|sinc(bf)| for 0.1, 0.25, 0.5, 1 and 2 px at Nyquist (*Optical Engineering* 31(3) 581)."""
    found = box_mtf(0.5 * np.array([0.1, 0.25, 0.5, 1, 2]))
    assert_allclose(found, [0.995893, 0.974495, 0.900316, 0.636620, 0], atol=5e-7)


@pytest.mark.parametrize(
    ("blur_px", "told"), [(0.1, 0.995893), (0.25, 0.974495), (0.5, 0.900316), (1, 0.636620)]
)
def test_motion_in_the_budget(blur_px: float, told: float) -> None:
    """The same numbers (derived) as `mtf_motion_nyquist_y`, matched lines of 70 µm at 1 m/s."""
    found = budget(changed(BASE, {"acquisition.exposure": f"{70 * blur_px} us"}))
    assert found["exposure"]["motion_blur_px"] == pytest.approx(blur_px, rel=1e-12)
    assert found["resolution"]["mtf_motion_nyquist_y"] == pytest.approx(told, abs=5e-7)


def perfect_lens(numbers: Station) -> Station:
    """Leave the pixel alone: a lens for light of almost no wavelength."""
    sharp = lens(wavelength_um=1e-9)
    return Station(
        geometry=numbers.geometry,
        timing=numbers.timing,
        optics=sharp,
        ends_optics=sharp,
        sensor=numbers.sensor,
        irradiance_w_m2=numbers.irradiance_w_m2,
        ambient_w_m2=numbers.ambient_w_m2,
        electrons_per_joule=numbers.electrons_per_joule,
        white_reflectance=numbers.white_reflectance,
    )


def test_square_pixel() -> None:
    """
    Pixel of w = 70 µm: MTF50 0.603355/w, Nyquist 0.636620, MTF10 0.907929/w (derived).

    With one pixel of motion sinc²: MTF50 0.442946/w, Nyquist 0.405285.
    """
    numbers = perfect_lens(station(BASE))
    found = resolution_group(numbers)
    assert found["mtf50_x_lp_mm"] == pytest.approx(1000 / 70 * 0.603355, rel=2e-6)
    assert found["mtf_nyquist_x"] == pytest.approx(0.636620, abs=1e-6)
    assert mtf_across(numbers, 1000 / 70 * 0.907929) == pytest.approx(0.1, abs=1e-6)
    assert found["mtf50_y_lp_mm"] == pytest.approx(1000 / 70 * 0.442946, rel=2e-6)
    assert found["mtf_nyquist_y"] == pytest.approx(0.405285, abs=1e-6)
    assert found["mtf_motion_nyquist_y"] == pytest.approx(0.636620, abs=1e-6)
    assert found["nyquist_x_lp_mm"] == pytest.approx(500 / 70, rel=1e-12)


def pupil_mtf(numbers: Optics, frequency: FloatArray) -> FloatArray:
    """Transfer of the lens alone, each factor from its formula."""
    nu = frequency * numbers.wavelength_um / 1000 * numbers.f_number * (1 + numbers.magnification)
    return np.asarray(2 / np.pi * (np.arccos(nu) - nu * np.sqrt(1 - nu**2)))


def test_factors_of_the_lens_multiply() -> None:
    """Diffraction, defocus and blur in a row: the product of their transfers (derived)."""
    frequency = np.linspace(1, 200, 50)
    both = lens(defocus_mm=2.0, blur_um=1.5)
    disc_um = 1000 * 0.01 * 2.0 / 4.4
    nu = frequency * both.wavelength_um * 4.4 / 1000
    x = np.pi * frequency * disc_um / 1000 * (1 - nu)
    product = (
        pupil_mtf(both, frequency) * 2 * j1(x) / x * np.exp(-2 * (np.pi * 1.5e-3 * frequency) ** 2)
    )
    assert_allclose(both.mtf(frequency), product, atol=1e-12)


def traced(stop_mm: float) -> dict[str, float]:
    """
    Trace two thin lenses of 80 and 120 mm, 30 mm apart, a stop of 10 mm between them.

    Derived, paraxial: a ray (height, angle) passes a distance d by h += d a, a lens by a −= h/f.
    """

    def lens(focal: float) -> FloatArray:
        return np.array([[1, 0], [-1 / focal, 1]])

    def gap(length: float) -> FloatArray:
        return np.array([[1, length], [0, 1]])

    whole = lens(120) @ gap(30) @ lens(80)
    focal = -1 / whole[1, 0]
    behind = gap(30 - stop_mm)
    exit_to_stop, stop_to_entrance = lens(120) @ behind, gap(stop_mm) @ lens(80)
    # the stop's images: where rays of one point of it meet again
    exit_at = -exit_to_stop[0, 1] / exit_to_stop[1, 1]
    exit_size = exit_to_stop[0, 0] + exit_at * exit_to_stop[1, 0]
    entrance_at = stop_to_entrance[0, 1] / stop_to_entrance[0, 0]
    entrance_size = 1 / stop_to_entrance[0, 0]
    # magnification −0.2: where the object must lie before the first lens, and the image behind
    before = (1 / 0.2 + whole[1, 1]) * focal
    image_at = (0.2 + whole[0, 0]) * focal
    return {
        "focal": focal,
        "ratio": exit_size / entrance_size,
        "to_image": image_at - exit_at,
        "n_working": (image_at - exit_at) / (10 * exit_size),
        "n_engraved": focal / (10 * entrance_size),
        "to_object": before + entrance_at,
    }


@pytest.mark.parametrize("stop_mm", [2.0, 20.0, 28.0])
def test_pupils_of_a_traced_lens(stop_mm: float) -> None:
    """Working f-number, and distances of both pupils, of two thin lenses traced by matrices."""
    found = traced(stop_mm)
    assert abs(found["ratio"] - 1) > 0.05
    setup = changed(
        BASE,
        {
            "lens.magnification": 0.2,
            "lens.f_number": found["n_engraved"],
            "lens.focal_length": f"{found['focal']} mm",
            "lens.pupil_magnification": found["ratio"],
        },
    )
    assert optics(setup).working_f_number == pytest.approx(found["n_working"], rel=1e-9)
    assert setup.view_distance_mm == pytest.approx(found["to_object"], rel=1e-9)
    edge_um = np.array([1000 * found["to_image"]])  # 45 degrees: cos⁴ is a quarter
    share = off_axis_share(edge_um, 0.2, found["focal"], found["ratio"])
    assert_allclose(share, 0.25, rtol=1e-9)
