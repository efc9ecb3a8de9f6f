"""`measure uniformity`, `scene` and `against` on made images, beside numpy, scipy and textbooks."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.ndimage import convolve, fourier_gaussian, gaussian_filter
from skimage import data

from linesim.metrics.flat.uniformity import uniformity
from linesim.metrics.scene.compared import blurred, spectra, transfer
from linesim.metrics.scene.figures import PERCENTILES, scene
from linesim.setup.arrays import FloatArray

BLACK_DN, LINES, COLUMNS = 100.0, 512, 400


def uneven(noise_dn: float) -> "np.ndarray[tuple[int, ...], np.dtype[np.uint16]]":
    """Give a line that falls off by 20 % to its ends, with a streak and a wave along travel."""
    x = np.linspace(-1, 1, COLUMNS)
    level = 2000 * (1 - 0.2 * x**2)
    level[123] += 40
    wave = 25 * np.cos(2 * np.pi * 32 / LINES * np.arange(LINES))
    image = BLACK_DN + level + wave[:, None]
    noisy = image + np.random.default_rng(7).normal(0, noise_dn, image.shape)
    return np.asarray(np.floor(noisy + 0.5).astype(np.uint16))


def test_an_uneven_line_is_told_by_its_parts() -> None:
    """
    Fall-off 20 % at both ends, a streak of 40 DN, a wave of 25 DN at 1/16 a line, put in (derived).

    Each within 4.5 of its errors: noise of 8 DN leaves 8/√512 in a column mean, √(1 + ¼) of it in
    a column less its four neighbours; with s = 8/√400 in a line, s·√(2/N) in the wave of the
    N lines and √24·s/(2πA N^1.5) in its frequency (Rife and Boorstyn 1974, from memory).
    """
    found = uniformity(uneven(8.0), BLACK_DN)
    for end in (found.profile.falloff_left, found.profile.falloff_right):
        assert end.value == pytest.approx(0.2, abs=4.5 * end.sd)
        assert end.sd < 0.003
    (worst, *_) = found.streaks.worst
    assert worst.column == 123
    assert worst.excess_dn == pytest.approx(40, abs=4.5 * 8 / np.sqrt(512) * np.sqrt(1.25) + 0.1)
    assert found.banding.frequency_cyc_line == pytest.approx(
        32 / LINES, abs=4.5 * np.sqrt(24) * 0.4 / (2 * np.pi * 25 * LINES**1.5)
    )
    assert found.banding.amplitude_dn.value == pytest.approx(
        25, abs=4.5 * 8 / np.sqrt(COLUMNS) * np.sqrt(2 / LINES) + 0.01
    )


def test_the_wave_is_that_of_a_fourier_transform() -> None:
    """Amplitude at its frequency by `numpy.fft` of the line means, 2|F|/N, to 1 %."""
    image = uneven(8.0)
    found = uniformity(image, BLACK_DN).banding
    by_line = image.mean(axis=1)
    bins = 2 * np.abs(np.fft.rfft(by_line - by_line.mean())) / LINES
    assert int(np.argmax(bins)) == 32
    assert found.amplitude_dn.value == pytest.approx(bins[32], rel=0.01)


def immerkaer(image: FloatArray) -> float:
    """Noise by J. Immerkær, *Computer Vision and Image Understanding* 64 (1996): from memory."""
    mask = np.array([[1.0, -2.0, 1.0], [-2.0, 4.0, -2.0], [1.0, -2.0, 1.0]])
    seen = convolve(image, mask)[1:-1, 1:-1]
    return float(np.sqrt(np.pi / 2) / 6 * np.abs(seen).mean())


@pytest.mark.parametrize("noise_dn", [5.0, 20.0])
def test_noise_of_an_image_of_anything(noise_dn: float) -> None:
    """
    White noise on a photograph (`skimage.data`) smoothed to 3 samples: as put in.

    And no more than Immerkær's estimate over the whole image, which takes texture for noise; where
    the image is even both agree. Within 4.5 of the errors that are told; 1 % for texture.
    """
    photo = np.asarray(data.gravel(), dtype=np.float64)  # type: ignore[no-untyped-call]
    smooth = 500 + 4 * gaussian_filter(photo, 3.0)
    noisy = smooth + np.random.default_rng(3).normal(0, noise_dn, smooth.shape)
    image = np.floor(noisy + 0.5).astype(np.uint16)
    truth = np.hypot(noise_dn, np.sqrt(1 / 12))
    seen = scene(image, 0.0, 4095)
    error = 4.5 * float(seen.noise.noise_sd_dn.max())
    assert seen.noise_median_dn == pytest.approx(truth, abs=error + 0.01 * truth)
    assert seen.noise_median_dn < immerkaer(image.astype(float)) + error
    even = np.floor(1000 + (noisy - smooth) + 0.5).astype(np.uint16)
    plain = scene(even, 0.0, 4095)
    error = 4.5 * float(plain.noise.noise_sd_dn.max())
    assert plain.noise_median_dn == pytest.approx(immerkaer(even.astype(float)), abs=error)
    assert error < 0.15 * truth


def test_levels_of_an_image_are_its_percentiles() -> None:
    """`numpy.percentile` (inverted distribution), and shares at both ends counted by numpy."""
    photo = np.asarray(data.gravel(), dtype=np.uint16)  # type: ignore[no-untyped-call]
    image = np.clip(photo.astype(int) * 2 - 100, 0, 255).astype(np.uint16)
    found = scene(image, 0.0, 255).levels
    told = np.percentile(image, PERCENTILES, method="inverted_cdf")
    assert_array_equal(found.percentiles_dn, told)
    assert found.share_at_zero == np.mean(image == 0)
    assert found.share_at_full_scale == np.mean(image == 255)


def test_a_known_blur_is_read_off_a_photograph() -> None:
    """
    A Gaussian of `scipy.ndimage`'s Fourier kind is exp(−2π²σ²f²): a = 2π²σ² each way, gain 0.9.

    Within 5 errors of the noise added, and 3 % for what the tiles let leak, as their module says.
    """
    taken = data.gravel()  # type: ignore[no-untyped-call]
    one = np.asarray(gaussian_filter(taken.astype(np.float64), 0.7))
    soft = np.fft.ifft2(fourier_gaussian(np.fft.fft2(one), (0.8, 0.5))).real
    other = 0.9 * soft + np.random.default_rng(8).normal(0, 2, one.shape)
    inner = (slice(16, -16),) * 2  # the photograph does not go round, as Fourier has it
    found = transfer(spectra(one[inner], other[inner]))
    for seen, truth in (
        (found.gain, 0.9),
        (found.blur_y, 2 * np.pi**2 * 0.64),
        (found.blur_x, 2 * np.pi**2 * 0.25),
    ):
        assert abs(seen.value - truth) < 5 * seen.sd + 0.03 * truth
    left = (other - blurred(one, found))[inner]
    # the noise put in, of 2; its standard deviation from n values is known to 1/√(2n)
    # the mean goes its own way: 0.9 of it in one, all of it in the other
    assert_allclose(left.std(), 2.0, rtol=5 / np.sqrt(2 * left.size) + 2e-3)
