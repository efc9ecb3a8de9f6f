"""
Detail along against detail across: motion of known length on pictures, and none without it.

Motion during exposure multiplies the amplitude by |sinc(b f)| (closed form named in Opt. Eng. 31
(1992), 581). The picture of gravel is that of scikit-image, CC0 by its docstring.
"""

import numpy as np
import pytest
import skimage.data
from numpy.testing import assert_allclose
from scipy.ndimage import gaussian_filter

from linesim.metrics.scene.directional import Directional, directional
from linesim.metrics.scene.figures import scene
from linesim.setup.arrays import FloatArray


def moved(image: FloatArray, lines: int) -> FloatArray:
    """Average so many lines: motion by as many pixels, in steps."""
    return np.asarray(
        np.mean([image[k : len(image) - lines + 1 + k] for k in range(lines)], axis=0)
    )


def measured(image: FloatArray, noise_dn: float, seed: int = 1) -> Directional:
    """Add noise, round, measure; the noise is known."""
    noisy = image + np.random.default_rng(seed).normal(0, noise_dn, image.shape)
    return directional(np.clip(np.rint(noisy), 0, 65_535).astype(np.uint16), noise_dn)


def isotropic(side: int, seed: int, blur_px: float = 0.8) -> FloatArray:
    """Draw a target without a direction of its own: blurred white noise of 2000 DN."""
    white = np.random.default_rng(seed).normal(20_000, 2000, (side, side))
    return np.asarray(gaussian_filter(white, blur_px, mode="wrap"))


def test_white_noise_has_its_variance() -> None:
    """On white noise the power at each frequency is the variance, within 4 standard errors."""
    found = measured(np.full((512, 512), 1000.0), 50.0)
    for power in (found.along_dn2, found.across_dn2):
        # some 20 orders of 1 + 2·wedge cells, from 49 squares that share half: 2 % each on average
        assert power.mean() == pytest.approx(2500, rel=0.02)
    assert found.ratio is None
    assert (found.detail_x_cyc_px, found.detail_y_cyc_px) == (0, 0)


def test_no_direction_means_no_blur() -> None:
    """On an isotropic target the ratio is 1 within 4 of its errors, 20 times over."""
    ratios = [measured(isotropic(384, seed), 30.0).ratio for seed in range(20)]
    values = np.array([each.value for each in ratios if each])
    errors = np.array([each.sd for each in ratios if each])
    assert values.size == 20
    assert values.mean() == pytest.approx(1, abs=4 * values.std(ddof=1) / np.sqrt(20))
    # squares share half of each other, so the error may be a fifth short; 4/√40 for 20 values
    assert values.std(ddof=1) == pytest.approx(errors.mean(), rel=0.2 + 4 / np.sqrt(40))


@pytest.mark.parametrize("lines", [2, 3])
def test_motion_is_what_the_sinc_says(lines: int) -> None:
    """
    A mean of n lines against the still picture: power falls as the Dirichlet kernel, sin²/sin².

    (sin(πnf)/(n sin(πf)))² along; across it is nearly untouched. Tolerance: the wedge of 15° and
    two orders of window spread change f by up to 1/64, where the kernel's slope is below 2πn/3.
    """
    still = isotropic(600, 3)
    blurred, sharp = measured(moved(still, lines), 1.0), measured(still, 1.0)
    frequency = sharp.frequency_cyc_px
    low = frequency < 0.6 / lines
    turn = np.pi * frequency
    kernel = (np.sin(lines * turn) / (lines * np.sin(turn))) ** 2
    ratio = (blurred.along_dn2 - 1) / (sharp.along_dn2 - 1)
    assert_allclose(ratio[low], kernel[low], atol=0.05)
    assert ((blurred.across_dn2 - 1) / (sharp.across_dn2 - 1)).min() > 0.85


def test_blur_along_is_found_in_gravel() -> None:
    """
    Longer motion on a picture of gravel: the ratio falls, and the length comes back.

    Between 0.2 and 0.4 cycles/px most power lies near 0.23, where a mean of two lines leaves
    cos(πf) = 0.75; a motion of b px leaves as much at b = 1.72. Gravel has a direction of a few
    percent of its own, which is divided out here, and moves b by 0.1.
    """
    codes = np.asarray(getattr(skimage.data, "gravel")(), dtype=np.float64)  # noqa: B009 -- untyped
    gravel = 1000 + 40 * np.asarray(gaussian_filter(codes, 0.7))
    found = [measured(moved(gravel, lines), 2.0) for lines in (1, 2, 3)]
    ratios = [each.ratio.value for each in found if each.ratio]
    assert len(ratios) == 3
    assert ratios[0] > ratios[1] > ratios[2]
    assert ratios[1] / ratios[0] == pytest.approx(0.75, abs=0.05)
    assert found[1].blur_px is not None
    assert found[1].blur_px.value == pytest.approx(1.72, abs=0.3)


def test_streaks_and_flicker_do_not_count_as_detail() -> None:
    """Columns 3000 DN apart and lines 2000 DN apart leave the ratio where it was."""
    target, rng = isotropic(512, 5), np.random.default_rng(6)
    still = measured(target, 30.0)
    uneven = target + rng.normal(0, 3000, 512) + rng.normal(0, 2000, (512, 1))
    found = measured(uneven, 30.0)
    assert still.ratio is not None
    assert found.ratio is not None
    assert found.ratio.value == pytest.approx(still.ratio.value, abs=1e-3)


def test_detail_reaches_where_it_meets_the_noise() -> None:
    """
    A Gaussian blur of σ px lets detail sink under the noise where S²/N² exp(-4π²σ²f²) = 1.

    White of 2000 DN, blurred by 1.2 px, on noise of 100 DN: f = √(ln 400)/(2π·1.2) = 0.325. Steps
    are 1/128, and power scatters by some 10 %, which is 0.005 there.
    """
    found = measured(isotropic(640, 8, blur_px=1.2), 100.0)
    expected = np.sqrt(np.log(400)) / (2 * np.pi * 1.2)
    assert found.detail_x_cyc_px == pytest.approx(expected, abs=0.02)
    assert found.detail_y_cyc_px == pytest.approx(expected, abs=0.02)


def test_levels_of_a_picture() -> None:
    """Percentiles are those of numpy's inverted distribution; shares at the ends are counted."""
    rng = np.random.default_rng(9)
    image = rng.integers(1, 4000, (200, 100), np.uint16)
    image[:, 0] = 0
    image[:2] = 4095
    found = scene(image, 0.0, 4095).levels
    shares = [0.1, 1, 5, 25, 50, 75, 95, 99, 99.9]
    assert_allclose(
        found.percentiles_dn, np.percentile(image, shares, method="inverted_cdf"), atol=0
    )
    assert found.share_at_full_scale == pytest.approx(200 / 20_000)
    assert found.share_at_zero == pytest.approx(198 / 20_000)
    assert found.range_used == 1.0


def test_a_small_image_is_refused() -> None:
    """Less than a square of 64 has no spectrum to compare; one square has no scatter."""
    with pytest.raises(ValueError, match="64 samples"):
        directional(np.zeros((63, 200), dtype=np.uint16), 1.0)
    assert measured(isotropic(90, 1), 1.0).ratio is None
