"""
Noise of images of anything, against noise that was put in.

The gravel, brick and camera pictures are those of scikit-image (gravel and brick CC0 by their
docstrings), blurred as a lens does, so that they hold little of their own at the finest scale.
"""

import numpy as np
import pytest
import skimage.data
from scipy.ndimage import gaussian_filter

from linesim.metrics.scene.block_noise import BlockNoise, block_noise
from linesim.setup.arrays import FloatArray

FULL = 4095


def picture(name: str, blur_px: float) -> FloatArray:
    """Give a picture on a scale of 300 to 3360 DN."""
    codes = getattr(skimage.data, name)().astype(np.float64)
    return 300 + 12 * np.asarray(gaussian_filter(codes, blur_px))


def measured(image: FloatArray) -> BlockNoise:
    """Round and measure."""
    return block_noise(np.clip(np.rint(image), 0, FULL).astype(np.uint16), FULL)


def diagonal_noise(image: FloatArray) -> float:
    """
    Estimate noise by the median of the diagonal Haar details over 0.6745.

    D. L. Donoho and I. M. Johnstone, Biometrika 81 (1994), 425 (from memory): the estimator that
    denoising libraries use. It knows no blocks, so texture lifts it.
    """
    detail = image[::2, ::2] - image[1::2, ::2] - image[::2, 1::2] + image[1::2, 1::2]
    return float(np.median(np.abs(detail)) / 2 / 0.6745)


def test_noise_alone_is_read_without_bias() -> None:
    """
    Plain noise of 10 DN on 20 levels, and rounding's 1/12: each level within 5 of its errors.

    The smoothest tenth of the blocks alone would read 11 % low, √0.787.
    """
    rng = np.random.default_rng(1)
    found = measured(2000 + rng.normal(0, 10, (1026, 1026)))
    truth = np.sqrt(100 + 1 / 12)
    assert found.noise_dn.size == 12
    assert np.abs((found.noise_dn - truth) / found.noise_sd_dn).max() < 5
    pooled_sd = found.noise_sd_dn[0] / np.sqrt(12)
    assert found.noise_dn.mean() == pytest.approx(truth, abs=4 * pooled_sd)
    assert pooled_sd < 0.005 * truth
    # of 4096 blocks 0.1 % vary more than noise, by the limit's own definition: at most 4 + 4√4
    assert found.textured_share * found.blocks <= 4 + 4 * np.sqrt(4)
    # first differences: one value in 2.25 counts, so √(2·2.25/256)/2 · 1.3 over the root of 4096
    assert found.whiteness == pytest.approx(1, abs=0.01)


def test_noise_errors_are_those_of_many_looks() -> None:
    """40 images of noise: levels scatter by the error given, to 4/√(2·480) and 10 % of it."""
    rng = np.random.default_rng(2)
    looks = [measured(2000 + rng.normal(0, 10, (530, 530))) for _ in range(40)]
    values = np.concatenate([each.noise_dn for each in looks])
    error = np.mean(np.concatenate([each.noise_sd_dn for each in looks]))
    assert values.std(ddof=1) == pytest.approx(error, rel=4 / np.sqrt(2 * values.size) + 0.1)


def test_noise_that_grows_with_light_is_followed() -> None:
    """
    Variance 25 + 0.1·(level - 100), as light makes it (EMVA 1288 R4.0 RC, (15)): within 5 errors.

    Within a level of brightness noise changes by less than 2 %, and blocks are 5 % dark or bright.
    """
    rng = np.random.default_rng(3)
    level = np.broadcast_to(np.linspace(200, 3800, 1026), (1026, 1026))
    found = measured(level + np.sqrt(25 + 0.1 * (level - 100)) * rng.standard_normal(level.shape))
    truth = np.sqrt(25 + 1 / 12 + 0.1 * (found.level_dn - 100))
    assert np.abs((found.noise_dn - truth) / found.noise_sd_dn).max() < 5
    assert found.at(np.array([0.0, 9e3]))[[0, 1]] == pytest.approx(found.noise_dn[[0, -1]])


def test_patterns_of_columns_and_lines_are_no_noise() -> None:
    """Columns 30 DN apart and lines 20 DN apart are taken off exactly; 8 DN of noise are left."""
    rng = np.random.default_rng(4)
    still = 2000 + rng.normal(0, 30, 1026) + rng.normal(0, 20, (1026, 1))
    found = measured(still + rng.normal(0, 8, still.shape))
    pooled_sd = found.noise_sd_dn[0] / np.sqrt(found.noise_dn.size)
    assert found.noise_dn.mean() == pytest.approx(np.sqrt(64 + 1 / 12), abs=4 * pooled_sd)


@pytest.mark.parametrize("name", ["gravel", "brick", "camera"])
@pytest.mark.parametrize("noise_dn", [15.0, 40.0])
def test_known_noise_on_pictures(name: str, noise_dn: float) -> None:
    """
    Noise put onto a blurred picture is never read low, and closer than an estimate without blocks.

    Low: 4 standard errors of the pooled levels. High: what the picture shows without noise adds at
    most in square.
    """
    still = picture(name, 1.5)
    noisy = still + np.random.default_rng(5).normal(0, noise_dn, still.shape)
    found, own = measured(noisy), measured(still)
    read = float(np.sqrt((found.noise_dn**2).mean()))
    error = found.noise_sd_dn.mean() / np.sqrt(found.noise_dn.size)
    assert read > np.hypot(noise_dn, np.sqrt(1 / 12)) - 4 * error
    assert read < np.hypot(noise_dn, float(own.noise_dn.max())) + 4 * error
    assert abs(read - noise_dn) < abs(diagonal_noise(noisy) - noise_dn) + 4 * error


def test_texture_tells_that_it_is_there() -> None:
    """A sharp picture of gravel has texture in every block: whiteness far from 1."""
    assert measured(picture("gravel", 0.0)).whiteness > 1.2
    noise = np.random.default_rng(6).normal(0, 60, (512, 512))
    assert measured(picture("brick", 1.5) + noise).whiteness < 1.1


def test_clipped_blocks_are_left_out() -> None:
    """A half at full scale brings no level without noise; an image all clipped is refused."""
    rng = np.random.default_rng(7)
    image = 3000 + rng.normal(0, 10, (258, 258))
    image[:128] = FULL
    found = measured(image)
    assert found.blocks == 128  # the 8 lower rows of 16
    assert found.noise_dn.min() > 8
    with pytest.raises(ValueError, match="every block"):
        measured(np.full((130, 130), 9999.0))
    with pytest.raises(ValueError, match="66 samples"):
        measured(np.full((65, 130), 100.0))
