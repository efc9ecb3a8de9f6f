"""
MTF of rendered edges against the closed form, along the edge's own normal.

Along a normal at θ from the across direction a box of width w in x counts |sinc(w f cos θ)|, one of
height h in y |sinc(h f sin θ)|, and a round lens its MTF(f) in every direction:

    reference pixel (q, q) twice x lens x delivered pixel (w, h) x travel while exposed (0, b).

The reference counts twice because an edge is first averaged over each reference pixel, and that
value then stands for the whole pixel: box upon box.
Each part from a textbook formula, none from the package. Edges are read without noise (ISO 12233
slanted edge), and their reading is itself good to 0.002 to 0.003 (see the edge metric), the lens
between its axes to 0.006: so 0.01.
"""

import numpy as np
import pytest
from scipy.special import j0

from linesim.forward.render import render
from linesim.forward.station import Station, station
from linesim.metrics.edge.figures import EdgeResponse, edge_response
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.targets.edge import edge
from tests.stations import plain_setup

ALLOWED = 0.01
REFERENCE_UM = 20.0
BASE = plain_setup("MTF", target={"pixel_size": f"{REFERENCE_UM} um"})


def sinc(cycles: FloatArray) -> FloatArray:
    """Box."""
    return np.asarray(np.abs(np.sinc(cycles)))


def lens_mtf(setup: Setup, f_um: FloatArray) -> FloatArray:
    """
    Diffraction at λ N (1+m) with a path error of w waves at the rim, Gaussian; f in cycles/µm.

    Exact for a round pupil: (4/π) ∫₀^{1−ν} √(1−(x+ν)²) cos(8πwνx) dx, d = 8wλN_w = m²δ/(N(1+m)).
    """
    m, lens, numbers = setup.magnification, setup.lens, station(setup).optics
    working = lens.f_number * (1 + m)
    at_sensor = f_um / m
    wave_um = setup.light.spectrum.photon_mean_wavelength_nm / 1000 * working
    nu = np.minimum(at_sensor * wave_um, 1)
    waves = 1000 * m**2 * abs(float(numbers.defocus_mm)) / working / (8 * wave_um)
    # x + ν = cos t leaves a smooth integrand
    node, weight = np.polynomial.legendre.leggauss(60)
    t = np.arccos(nu)[:, None] * (node + 1) / 2
    seen = np.sin(t) ** 2 * np.cos(8 * np.pi * waves * nu[:, None] * (np.cos(t) - nu[:, None]))
    pupil_only = 2 / np.pi * np.arccos(nu) * (seen @ weight)
    return np.asarray(pupil_only * np.exp(-2 * (np.pi * numbers.blur_um * at_sensor) ** 2))


def theory(setup: Setup, f_um: FloatArray, normal_deg: float) -> FloatArray:
    """MTF along a normal at some degrees from the across direction."""
    numbers = station(setup)
    x, y = np.cos(np.radians(normal_deg)), np.sin(np.radians(normal_deg))
    place = numbers.geometry
    travel_um = setup.transport.speed_mm_s * float(numbers.timing.exposure_us) / 1000
    return np.asarray(
        lens_mtf(setup, f_um)
        * sinc(f_um * REFERENCE_UM * x) ** 2
        * sinc(f_um * REFERENCE_UM * y) ** 2
        * sinc(f_um * float(place.object_pixel_x_um) * x)
        * sinc(f_um * float(place.object_pixel_y_um) * y)
        * sinc(f_um * travel_um * y)
    )


def pitches(numbers: Station) -> tuple[float, float]:
    """Line advance and object pixel across. [µm]."""
    return float(numbers.timing.line_advance_um), float(numbers.geometry.object_pixel_x_um)


def read_edge(
    setup: Setup,
    angle_deg: float,
    size: tuple[int, int],
    seed: int = 0,
    off_axis_error: float = 0.006,
) -> EdgeResponse:
    """Render an edge through the middle of the scan, and read it without noise."""
    pitch = pitches(station(setup))
    target = edge(
        pixel_size_um=REFERENCE_UM,
        width_mm=size[1] * pitch[1] / 1000,
        height_mm=size[0] * pitch[0] / 1000,
        angle_deg=angle_deg,
    )
    seen = render(setup, target, size[0], seed, off_axis_error=off_axis_error)
    return edge_response(seen.expected_e, pixel_pitch=pitch)


def rate(share: float) -> dict[str, object]:
    """Full exposure at a share of the matched rate: that much less moves more than a pixel."""
    return {"acquisition.line_rate": f"{share * 1e6 / 75!r} Hz", "acquisition.exposure": "full"}


CASES: dict[str, dict[str, object]] = {
    "motion 0": {"acquisition.exposure": "0.001 us"},
    "motion 0.5": {"acquisition.exposure": "37.5 us"},
    "motion 1": {"acquisition.exposure": "full"},
    "motion 2 at half the rate": rate(0.5),
    "motion 2 at the matched rate": {"acquisition.exposure": "150 us"},
    "odd scale": {"lens.magnification": 0.0937},
    "large scale": {"lens.magnification": 0.183, "lens.f_number": 5.6},
    "small stop": {"lens.f_number": 16.0},
    "defocus": {"lens.f_number": 5.6, "lens.defocus": "3 mm"},
    "blur": {"lens.blur": "3 um"},
    "binned 2x2": {"acquisition.binning": "2x2", "camera.pixels": 512},
    "binned 2x1": {"acquisition.binning": "2x1", "camera.pixels": 512},
    "binned 1x2": {"acquisition.binning": "1x2"},
    "tall pixels": {"camera.pixel_height": "12 um"},
    "encoder": {"transport.trigger": "encoder", "transport.encoder_step": "25 um"},
    "all at once": {
        "lens.f_number": 8.0,
        "lens.magnification": 0.1123,
        "lens.blur": "2 um",
        "lens.defocus": "1.5 mm",
        "acquisition.exposure": "50 us",
    },
}


@pytest.mark.parametrize("angle_deg", [5.0, 85.0])
@pytest.mark.parametrize("name", sorted(CASES))
def test_edges_meet_the_closed_form(name: str, angle_deg: float) -> None:
    """Across (5°) and along (85°), from 0 to Nyquist on the normal, within 0.01."""
    setup = changed(BASE, CASES[name])
    found = read_edge(setup, angle_deg, (256, 256))
    assert found.direction == ("across" if angle_deg < 45 else "along")
    use = found.frequency_cyc_px <= 0.5 + 1e-9
    wanted = theory(setup, found.frequency_per_unit[use], angle_deg)
    assert np.abs(found.mtf[use] - wanted).max() <= ALLOWED


def test_the_closed_form_has_teeth() -> None:
    """Each of these alone moves the curve by more than three times the tolerance."""
    f_um = np.linspace(0, 0.5 / 75, 101)
    for name, other in (
        ("motion 1", "motion 0.5"),
        ("motion 1", "odd scale"),
        ("motion 1", "blur"),
        ("motion 1", "small stop"),
        ("motion 1", "tall pixels"),
    ):
        one, two = (theory(changed(BASE, CASES[n]), f_um, 85.0) for n in (name, other))
        assert np.abs(one - two).max() > 3 * ALLOWED


@pytest.mark.parametrize("angle_deg", [5.0, 85.0])
def test_clock_ripple_blurs_along_as_a_sinusoidal_wander(angle_deg: float) -> None:
    """
    A ripple of 7.3 lines that moves lines by D = 0.15 px: |J₀(2πDf)| along the lines' direction.

    D = a v/(2πg); the lines that the edge crosses take all phases of it. The formula for a fast
    sinusoidal wander is from memory; J₀ of scipy. Travel while exposed swings by a = 13 % about its
    mean, which changes the mean of its box by (π b f)² a²/12 < 0.004 at half a cycle a pixel.
    """
    wander_px, lines_a_swing = 0.15, 7.3
    ripple = 2 * np.pi * wander_px / lines_a_swing
    setup = changed(
        BASE,
        {
            "transport.speed_ripple": float(ripple),
            "transport.ripple_frequency": f"{1e6 / 75 / lines_a_swing!r} Hz",
            "camera.pixels": 512,
        },
    )
    found = read_edge(setup, angle_deg, (256, 512))
    use = found.frequency_cyc_px <= 0.5 + 1e-9
    f_um = found.frequency_per_unit[use]
    y = np.sin(np.radians(angle_deg))
    wander = np.abs(j0(2 * np.pi * wander_px * 75 * f_um * y))
    assert np.abs(found.mtf[use] - theory(setup, f_um, angle_deg) * wander).max() <= ALLOWED


@pytest.mark.parametrize(("sigma_px", "angle_deg"), [(0.1, 77.0), (0.3, 13.0), (0.3, 77.0)])
def test_jitter_blurs_as_a_gaussian(sigma_px: float, angle_deg: float) -> None:
    """
    Line jitter σ: exp(−2π²σ²f²) on the mean of four scans, with σ along the edge's normal.

    The lines that cross the edge share one draw each, n in all: with s = 2πσf the real part of
    their mean phasor has the variance (1 − exp(−s²))²/(2n). At σ 0.1 and f 0.5 that is
    0.07/√n; four of these, times the rest of the MTF, on top of 0.01.
    """
    setup = changed(BASE, {"transport.line_jitter": f"{75 * sigma_px} um", "camera.pixels": 1024})
    size = (400, 1024)
    found = [read_edge(setup, angle_deg, size, seed=seed) for seed in range(4)]
    use = found[0].frequency_cyc_px <= 0.5 + 1e-9
    f_um = found[0].frequency_per_unit[use]
    mean = np.mean([one.mtf[use] for one in found], axis=0)
    y = np.sin(np.radians(angle_deg))
    s = 2 * np.pi * 75 * sigma_px * y * f_um
    crossed = 4 * (400 if angle_deg < 45 else 1024 / np.tan(np.radians(angle_deg)))
    assert crossed > 800
    still = theory(setup, f_um, angle_deg)
    allowed = ALLOWED + 4 * still * (1 - np.exp(-(s**2))) / np.sqrt(2 * crossed)
    np.testing.assert_array_less(np.abs(mean - still * np.exp(-(s**2) / 2)), allowed)


@pytest.mark.parametrize("angle_deg", [5.0, 85.0])
def test_one_term_is_a_product_of_two_line_spreads(angle_deg: float) -> None:
    """
    A single separable term at f/16 counts MTF(f cos θ)·MTF(f sin θ): too low by 0.02 at 5° already.

    The edge meets that product within 0.01, and the round lens with the default terms only.
    """
    setup = changed(BASE, CASES["small stop"])
    found = read_edge(setup, angle_deg, (256, 256), off_axis_error=1)
    use = found.frequency_cyc_px <= 0.5 + 1e-9
    f_um = found.frequency_per_unit[use]
    x, y = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    round_lens = theory(setup, f_um, angle_deg)
    product = lens_mtf(setup, f_um * x) * lens_mtf(setup, f_um * y)
    wanted = round_lens / lens_mtf(setup, f_um) * product
    assert np.abs(found.mtf[use] - wanted).max() <= ALLOWED
    assert np.max(round_lens - wanted) > 1.5 * ALLOWED
