"""Three bars of known blur: contrast, response, place and error bars against closed forms."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.stats import norm

from linesim.metrics.bars.figures import bar_figures, coltman
from linesim.metrics.bars.find import find_bars
from linesim.metrics.bars.place import BarPlace, ground_of
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError


def profile(bar_px: float, centre_px: float, sigma_px: float, pixels: int = 120) -> FloatArray:
    """Integrate three bars under a Gaussian over each pixel: differences of ∫Φ, exact."""
    edges = np.arange(pixels + 1.0)

    def running(place: float) -> FloatArray:
        u = (edges - place) / sigma_px
        return np.asarray(sigma_px * (u * norm.cdf(u) + norm.pdf(u)))

    middles = centre_px + np.array([-2.0, 0.0, 2.0]) * bar_px
    sums = sum(running(m - bar_px / 2) - running(m + bar_px / 2) for m in middles)
    return np.diff(np.asarray(sums))


def response(frequency_cyc_px: FloatArray, sigma_px: float) -> FloatArray:
    """Give the response of a pixel and a Gaussian: sinc(f) exp(−2π²σ²f²)."""
    return np.asarray(
        np.sinc(frequency_cyc_px) * np.exp(-2 * (np.pi * sigma_px * frequency_cyc_px) ** 2)
    )


def folded(frequency_cyc_px: float, sigma_px: float) -> float:
    """
    Bound what samples fold back from 1 − f and 1 + f onto f, relative to what is there.

    The spectrum of three bars of width w is w sinc(νw) (1 + 2 cos 4πνw), times the response.
    """
    w = 0.5 / frequency_cyc_px

    def size(nu: float) -> float:
        spectrum = w * np.sinc(nu * w) * (1 + 2 * np.cos(4 * np.pi * nu * w))
        return float(abs(spectrum * response(np.array([nu]), sigma_px)[0]))

    f = frequency_cyc_px
    return (size(1 - f) + size(1 + f) + size(2 - f)) / size(f)


@pytest.mark.parametrize("sigma_px", [0.3, 0.5, 0.8])
@pytest.mark.parametrize("frequency", [0.03, 0.1, 0.17, 0.25, 0.3, 1 / 3, 0.4])
def test_the_response_at_the_bars_frequency_is_exact(frequency: float, sigma_px: float) -> None:
    """
    Wherever the bars lie on the pixels, what samples fold back is nearly all the error there is.

    The rest is blur that reaches further than the window, a bar's width w: with s² = σ² + 1/6 (the
    pixel, and the window, whose end is a pixel soft), the share 2 s L(w/s) / 3w of the light,
    L(t) = φ(t) − t Φ(−t). It is missed in the plain sum, which counts M, and in the wave, which
    counts at most π/2. A Gaussian stands for two boxes here: 0.0005 more.
    """
    w = 0.5 / frequency
    s = float(np.hypot(sigma_px, np.sqrt(1 / 6)))
    lost = 2 * s * (norm.pdf(w / s) - w / s * norm.cdf(-w / s)) / (3 * w)
    truth = float(response(np.array([frequency]), sigma_px)[0])
    allowed = truth * folded(frequency, sigma_px) + (truth + np.pi / 2) * lost + 0.0005
    for phase in np.arange(8) / 8:
        found = bar_figures(
            profile(w, 60 + phase, sigma_px), centre_px=60 + phase, bar_px=w, noise=1e-9
        )
        assert found is not None
        assert found.mtf.value == pytest.approx(truth, abs=allowed)


@pytest.mark.parametrize("sigma_px", [0.3, 0.5, 0.8])
@pytest.mark.parametrize("frequency", [0.03, 0.06, 0.1, 0.14, 0.17, 0.2, 0.3, 1 / 3])
def test_the_contrast_is_coltmans(frequency: float, sigma_px: float) -> None:
    """
    Within 0.05 of the series with the true response: what the harmonics above Nyquist leave open.

    The series itself is summed here with ten thousand terms.
    """
    n: FloatArray = 2.0 * np.arange(10_000.0) + 1.0
    sign = np.where(n % 4 == 1, 1.0, -1.0)
    truth = 4 / np.pi * float(np.sum(sign / n * response(n * frequency, sigma_px)))
    w = 0.5 / frequency
    found = bar_figures(profile(w, 60.3, sigma_px), centre_px=60.3, bar_px=w, noise=1e-9)
    assert found is not None
    assert found.contrast.value == pytest.approx(truth, abs=0.05)


def test_coltmans_series_has_its_known_sums() -> None:
    """
    A response of 1 gives 1, and so does a pixel in a wave of at least two: the middle sees one bar.

    π/4 = 1 − 1/3 + 1/5 − … (Leibniz). The slowest is a pixel at 1/2, where all terms add up:
    8/π² (1 + 1/9 + 1/25 + …), whose rest after 500 terms is 8/π² / 2000 = 4.1e-4.
    """
    frequency = np.array([0.05, 0.21, 0.4, 0.5])
    assert_allclose(coltman(np.ones_like, frequency), 1.0, rtol=0, atol=4.2e-4)
    assert_allclose(coltman(np.sinc, frequency), 1.0, rtol=0, atol=4.2e-4)
    low = coltman(lambda f: np.where(f < 0.6, 0.5, 0.0), np.array([0.25]))
    assert low[0] == pytest.approx(2 / np.pi, rel=1e-12)


def test_bars_a_little_off_are_followed() -> None:
    """A place wrong by a third of a bar changes nothing, for the bars' own wave tells it."""
    one = bar_figures(profile(4.0, 50.0, 0.5), centre_px=50.0, bar_px=4.0, noise=1e-3)
    other = bar_figures(profile(4.0, 50.0, 0.5), centre_px=51.3, bar_px=4.0, noise=1e-3)
    assert one is not None
    assert other is not None
    assert other.centre_px == pytest.approx(50.0, abs=0.02)
    assert other.mtf.value == pytest.approx(one.mtf.value, abs=0.001)


def test_light_bars_and_scale_do_not_matter() -> None:
    """Bars brighter than the ground, in any unit: the same shares, and a depth with its sign."""
    dark = bar_figures(profile(3.0, 40.0, 0.5), centre_px=40.0, bar_px=3.0, noise=1e-3)
    light = bar_figures(-700 * profile(3.0, 40.0, 0.5), centre_px=40.0, bar_px=3.0, noise=0.7)
    assert dark is not None
    assert light is not None
    assert light.mtf.value == pytest.approx(dark.mtf.value, rel=1e-9)
    assert light.contrast.sd == pytest.approx(dark.contrast.sd, rel=1e-6)
    assert light.depth == pytest.approx(-700 * dark.depth, rel=1e-9)


@pytest.mark.parametrize(("bar_px", "offset"), [(5.0, 0.0), (1.6, 0.0), (5.0, 0.03)])
def test_error_bars_are_the_scatter(bar_px: float, offset: float) -> None:
    """
    Two hundred noisy profiles scatter as each says of itself.

    The scatter of n values is known to 1/√(2(n − 1)) = 5 %: four and a half times that.
    """
    clean, random = profile(bar_px, 30.2, 0.5, pixels=60), np.random.default_rng(8)
    runs = [
        bar_figures(
            clean + random.normal(0, 0.02, 60) + offset * random.normal(),
            centre_px=30.2,
            bar_px=bar_px,
            noise=0.02,
            offset=offset,
        )
        for _ in range(200)
    ]
    for name in ("mtf", "contrast"):
        figures = [getattr(each, name) for each in runs]
        scatter = np.std([each.value for each in figures], ddof=1)
        told = np.sqrt(np.mean([each.sd**2 for each in figures]))
        assert scatter == pytest.approx(told, rel=4.5 / np.sqrt(2 * 199))


def test_bars_that_are_not_there_are_lost() -> None:
    """Noise alone gives no figure."""
    noise = np.random.default_rng(1).normal(0, 0.1, 60)
    assert bar_figures(noise, centre_px=30.0, bar_px=3.0, noise=0.1) is None


@pytest.mark.parametrize("bar_px", [12.0, 4.0, 1.5])
@pytest.mark.parametrize("depth", [-3.0, 80.0])
def test_bars_are_found_with_their_width(bar_px: float, depth: float) -> None:
    """Centre and width from the profile alone, on a ground that slopes, dark and light bars."""
    pixels = round(8 * bar_px) + 4
    ground = 200 + 0.2 * np.arange(pixels)
    image = ground - depth * profile(bar_px, pixels / 2 + 0.3, 0.45, pixels=pixels)
    found = find_bars(image)
    assert found.bar_px == pytest.approx(bar_px, rel=0.003)
    assert found.centre_px == pytest.approx(pixels / 2 + 0.3, abs=0.01)
    assert_allclose(found.ground, ground, rtol=0, atol=0.02 * abs(depth))


@pytest.mark.parametrize(
    ("image", "reason"),
    [
        (np.ones(5), "5 px across them read"),
        (np.ones(40), "values of the region are alike"),
        (np.random.default_rng(0).normal(size=60), "no three equal bars"),
        (np.sin(np.arange(80) / 3), "no three equal bars"),
        (np.where(np.arange(60) < 30, 1.0, 5.0), "no three equal bars"),
        (np.where(np.abs(np.arange(60) - 30) < 8, 1.0, 5.0), "no three equal bars"),
    ],
    ids=["few", "even", "noise", "waves", "edge", "one bar"],
)
def test_no_bars_are_refused(image: FloatArray, reason: str) -> None:
    """What lacks three bars says so."""
    with pytest.raises(InputError, match=reason):
        find_bars(image)


def test_the_middle_of_the_bars_is_averaged() -> None:
    """Lines 1 to 4 of five bar widths, by the share of each that lies there."""
    place = BarPlace(alternates="across", box=(10.0, 10.0, 20.0, 20.0))
    assert (place.bar_px, place.centre_px) == (2.0, 15.0)
    rows = np.arange(40.0)[:, None] * np.ones((1, 30))
    values, averaged = place.profile(rows)
    assert_allclose(values, 14.5)
    assert averaged == pytest.approx(6.0)
    turned = BarPlace(alternates="along", box=(10.0, 10.0, 20.0, 20.0))
    assert_array_equal(turned.profile(rows.T)[0], values)
    assert place.within((20, 22))
    assert not place.within((20, 21))
    assert not place.within((19, 22))


def test_the_ground_is_found_between_the_bars() -> None:
    """Bent across and sloping along, as the light is; noise and columns told apart."""
    random = np.random.default_rng(3)
    x, y = np.meshgrid(np.linspace(-1, 1, 200), np.linspace(-1, 1, 150))
    level = 1000 + 30 * x - 80 * x**2 + 10 * y
    pattern = random.normal(0, 3, 200)
    image = level + pattern + random.normal(0, 5, level.shape)
    image[50:90, 60:120] -= 600
    ground = ground_of(image, [(60.0, 50.0, 120.0, 90.0)])
    assert ground is not None
    # columns of 150 lines: four parameters through 200 patterns of sd 3, five times 3 √(4/200)
    assert_allclose(ground.level, level, rtol=0, atol=5 * 3 * np.sqrt(4 / 200) + 1.5)
    assert ground.noise == pytest.approx(5.0, rel=0.03)
    # the scatter of 200 columns is known to 1/√400 = 5 %
    assert ground.pattern == pytest.approx(float(np.std(pattern)), rel=0.1)
    noise, offset = ground.doubt("across", 25.0)
    assert noise == pytest.approx(np.hypot(ground.noise / 5, ground.pattern))
    assert offset == 0.0
    assert ground.doubt("along", 25.0) == (ground.noise / 5, ground.pattern / 5)
    assert ground_of(image[:20, :20], [(0.0, 0.0, 20.0, 20.0)]) is None
