"""The slanted edge: signs, finding, choices and refusals."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.ndimage import gaussian_filter1d
from scipy.stats import norm

from linesim.metrics.edge.figures import edge_response
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError

HALF_POINT = 0.187391  # of a Gaussian, times σ: √(ln 2 / 2)/π


def edge(
    angle_deg: float = 5.0,
    *,
    lines: int = 120,
    width: int = 120,
    sigma_px: float = 0.8,
    offset_px: float = 0.0,
) -> FloatArray:
    """Gaussian edge from 50 to 200; positive angles lead to higher columns with higher lines."""
    angle = np.radians(angle_deg)
    y, x = np.mgrid[:lines, :width].astype(float)
    x -= (width - 1) / 2 + offset_px
    d = x * np.cos(angle) - (y - (lines - 1) / 2) * np.sin(angle)
    return np.asarray(50.0 + 150.0 * norm.cdf(d / sigma_px))


def noisy(image: FloatArray, sd: float, seed: int = 4) -> FloatArray:
    """Add Gaussian noise."""
    return image + np.random.default_rng(seed).normal(0.0, sd, image.shape)


@pytest.mark.parametrize("turn", ["none", "left-right", "up-down", "negative", "transposed"])
def test_every_orientation_reads_the_same(turn: str) -> None:
    """Mirrored, inverted and transposed edges differ in sign and axis, never in the figures."""
    image = edge(6.0)
    turned, angle_deg = {
        "none": (image, 6.0),
        "left-right": (image[:, ::-1], -6.0),
        "up-down": (image[::-1], -6.0),
        "negative": (250.0 - image, 6.0),
        "transposed": (image.T, 6.0),
    }[turn]
    result = edge_response(turned)
    assert result.direction == ("along" if turn == "transposed" else "across")
    assert result.angle_deg == pytest.approx(angle_deg, abs=1e-3)
    assert result.mtf50_cyc_px == pytest.approx(HALF_POINT / 0.8, rel=1e-3)
    assert result.step == pytest.approx(150.0, rel=1e-6)
    assert np.all(np.diff(result.edge_spread) > -1e-6)


def test_the_result_is_the_standards_curve() -> None:
    """Curve from 1 at 0 to one cycle a pixel in steps of 0.005; figures are read off it."""
    result = edge_response(edge())
    assert_allclose(result.frequency_cyc_px, np.linspace(0.0, 1.0, 201), rtol=0, atol=1e-12)
    assert result.mtf[0] == 1.0
    assert result.mtf_nyquist == result.mtf[100]
    assert result.mtf10_cyc_px is not None
    assert np.interp(result.mtf10_cyc_px, result.frequency_cyc_px, result.mtf) == pytest.approx(0.1)
    assert result.position_px.shape == result.edge_spread.shape
    assert edge_response(edge(), bins_per_pixel=8).frequency_cyc_px[-1] == pytest.approx(2.0)


def test_scale_and_offset_do_not_matter() -> None:
    """The response belongs to the shape of the edge alone."""
    one = edge_response(edge())
    other = edge_response(7.0 + 0.001 * edge())
    assert_allclose(other.mtf, one.mtf, rtol=0, atol=1e-9)


def test_input_is_left_alone() -> None:
    """The image given is not written to."""
    image = edge()
    before = image.copy()
    edge_response(image)
    assert_array_equal(image, before)


def test_nine_phases_are_enough_for_a_soft_edge() -> None:
    """A tangent of 1/9 puts two or three phases in a bin, off its middle; both are allowed for."""
    result = edge_response(edge(float(np.degrees(np.arctan(1 / 9)))))
    truth = np.exp(-2 * (np.pi * 0.8 * result.frequency_cyc_px) ** 2)
    assert_allclose(result.mtf[:101], truth[:101], rtol=0, atol=0.001)


@pytest.mark.parametrize("angle_deg", [2.0, 3.0])
def test_few_lines_suffice_once_every_bin_is_filled(angle_deg: float) -> None:
    """Forty lines at 2° shift the edge by 1.4 px: phases uneven, figures still right."""
    result = edge_response(edge(angle_deg, lines=40))
    assert result.mtf50_cyc_px == pytest.approx(HALF_POINT / 0.8, rel=0.005)


def test_lines_near_the_sides_are_left_out() -> None:
    """A tall scan whose edge leaves the picture is read where the edge is well inside."""
    result = edge_response(noisy(edge(6.0, lines=1500, width=90), 1.0))
    assert 200 < result.edge_length_px < 1000
    assert result.angle_deg == pytest.approx(6.0, abs=0.01)
    assert result.mtf50_cyc_px == pytest.approx(HALF_POINT / 0.8, rel=0.01)


def test_an_edge_off_the_middle_is_found() -> None:
    """An edge near one side still gives its figures, with a narrower region."""
    result = edge_response(edge(4.0, offset_px=-40.0))
    assert result.half_width_px < 20.0
    assert result.mtf50_cyc_px == pytest.approx(HALF_POINT / 0.8, rel=0.002)


def test_noise_narrows_the_window() -> None:
    """Without noise the whole region counts; noise makes it small, and is reported as put in."""
    clean = edge_response(edge())
    rough = edge_response(noisy(edge(), 5.0))
    assert clean.half_width_px > 50.0
    assert rough.half_width_px < 20.0
    # Standard error of a standard deviation from n neighbouring pairs: about sd √(3/4n), n > 3000.
    assert rough.noise == pytest.approx(5.0, rel=4 * np.sqrt(0.75 / 3000))
    assert clean.noise == pytest.approx(0.0, abs=1e-9)


def test_uneven_light_is_kept_out_by_a_half_width() -> None:
    """A slope of the light across reads as a tail; a narrow region sees less of it."""
    sloped = edge() * (1.0 + 0.001 * np.arange(-60, 60))
    truth = np.exp(-2 * (np.pi * 0.8 * np.linspace(0, 1, 201)) ** 2)
    wide = np.abs(edge_response(sloped).mtf - truth)[10:101].max()
    narrow = np.abs(edge_response(sloped, half_width_px=10.0).mtf - truth)[10:101].max()
    assert narrow < 0.4 * wide
    assert edge_response(edge(), half_width_px=10.0).half_width_px == pytest.approx(10.0, abs=0.25)


def test_sharpening_shows_as_overshoot() -> None:
    """
    Unsharp masking E + (E − E∗g) of a Gaussian edge: the excess is known in closed form.

    With σ = 0.8 and s = √(σ² + 2²) the curve is 2Φ(d/σ) − Φ(d/s); its maximum is the excess.
    """
    image = edge()
    # A round Gaussian is one Gaussian along each axis, and the same along every normal.
    soft = gaussian_filter1d(gaussian_filter1d(image, 2.0, axis=1), 2.0, axis=0)
    sharp = (2 * image - soft)[10:-10, 10:-10]
    d = np.linspace(-10, 10, 4001)
    excess = (2 * norm.cdf(d / 0.8) - norm.cdf(d / np.hypot(0.8, 2.0))).max() - 1.0
    result = edge_response(sharp)
    assert result.overshoot == pytest.approx(excess, rel=0.02)
    assert result.mtf.max() > 1.1
    assert result.angle_deg == pytest.approx(5.0, abs=0.01)


def test_noise_alone_is_no_overshoot() -> None:
    """Bins that stray by less than four standard deviations are not called overshoot."""
    assert edge_response(noisy(edge(), 3.0)).overshoot == 0.0


def test_no_half_point_is_told_by_none() -> None:
    """Point samples of a step keep over one half up to 0.5 cycles/px, where two bins end."""
    result = edge_response(edge(sigma_px=0.05), bins_per_pixel=2)
    assert result.mtf50_cyc_px is None
    assert result.mtf10_cyc_px is None


def test_frequencies_per_unit_follow_the_pitch() -> None:
    """A pixel of 20 µm: cycles/px over 0.02 mm are cycles/mm."""
    result = edge_response(edge(), pixel_pitch=(0.02, 0.02))
    assert result.mtf50_cyc_px is not None
    per_mm = result.mtf50_cyc_px / result.pitch
    assert per_mm == pytest.approx(HALF_POINT / 0.8 / 0.02, rel=1e-3)
    assert result.frequency_per_unit[-1] == pytest.approx(50.0)


def two_edges() -> FloatArray:
    """Hold a bright bar, not an edge."""
    return edge(offset_px=-12.0) - edge(offset_px=12.0) + 50.0


def step_of_one_tangent(columns: int, rows: int) -> FloatArray:
    """Edge whose tangent is columns/rows, so that it has `rows` phases."""
    return edge(float(np.degrees(np.arctan(columns / rows))))


REFUSED: list[tuple[str, Any, str]] = [
    ("colour", np.zeros((50, 50, 3)), "expected one channel"),
    ("small", edge()[:10], "120 x 10 px read"),
    ("not finite", np.where(edge() > 199, np.nan, edge()), "no finite numbers"),
    ("flat", np.full((60, 60), 7.0), "no edge found; all values are alike"),
    ("noise", noisy(np.full((100, 100), 100.0), 5.0), "no straight edge found"),
    ("upright", edge(0.2), "expected 1 px or more"),
    ("short", edge(2.0, lines=22), "expected 1 px or more"),
    ("steep", edge(43.0), "too near to 45"),
    ("few phases", step_of_one_tangent(1, 2), "hold no pixel"),
    ("near a side", edge(offset_px=-56.0, lines=60), "from the image's side"),
    (
        "too noisy",
        noisy(edge(lines=24, width=40, angle_deg=6.0), 50.0),
        "too noisy, the response would be uncertain",
    ),
    ("lost", noisy(edge(), 120.0), "or too noisy: a step of"),
    ("bar", two_edges(), "far from the edge"),
]


@pytest.mark.parametrize(("image", "reason"), [r[1:] for r in REFUSED], ids=[r[0] for r in REFUSED])
def test_what_cannot_be_measured_is_refused(image: FloatArray, reason: str) -> None:
    """Each refusal names its reason."""
    with pytest.raises(InputError, match=reason):
        edge_response(image)


def test_clipped_edges_are_refused() -> None:
    """Whole numbers know their scale; other limits are given."""
    bright = np.clip(np.rint(edge() * 1.4), 0, 255).astype(np.uint8)
    with pytest.raises(InputError, match=r"clipped, .* upper limit 255"):
        edge_response(bright)
    dark = np.clip(np.rint(edge() - 60.0), 0, 255).astype(np.uint8)
    with pytest.raises(InputError, match=r"clipped, .* lower limit 0"):
        edge_response(dark)
    twelve = np.clip(np.rint(edge() * 30.0), 0, 4095).astype(np.uint16)
    with pytest.raises(InputError, match="upper limit 4095"):
        edge_response(twelve, limits=(0.0, 4095.0))
    assert edge_response(np.rint(edge()).astype(np.uint8)).step == pytest.approx(150.0)


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        ({"pixel_pitch": (1.0, 0.0)}, "pixel_pitch"),
        ({"pixel_pitch": (float("nan"), 1.0)}, "pixel_pitch"),
        ({"bins_per_pixel": 1}, "bins_per_pixel: 1 read"),
        ({"half_width_px": 2.0}, "half_width_px: 2 read"),
        ({"direction": "sideways"}, "direction: 'sideways' read"),
    ],
)
def test_options_out_of_range_are_refused(options: dict[str, Any], reason: str) -> None:
    """The option is named."""
    with pytest.raises(InputError, match=reason):
        edge_response(edge(), **options)


def test_a_wrong_direction_is_refused() -> None:
    """An edge asked for along the other axis is 85° from it."""
    with pytest.raises(InputError, match="edge"):
        edge_response(edge(lines=400, width=400), direction="along")
