"""Images brought to other pixels: exact means by area, as an independent library has them."""

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose
from skimage.transform import downscale_local_mean

from linesim.forward.reference import ArrayReference
from linesim.studies.scan import views
from linesim.studies.scan.views import Cells, area_means

RNG = np.random.default_rng(5)
GREY = RNG.random((60, 84), dtype=np.float32)
COLOUR = RNG.random((30, 42, 3), dtype=np.float32)
# float32 sums of up to 30 values of at most 1: each rounding is under 6e-8, 30 of them under 2e-6
ROUNDING = 2e-6


def means(image: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Bring a whole image to another number of pixels."""
    height, width = image.shape[:2]
    return area_means(
        ArrayReference(data=image, pixel_size_um=1.0),
        Cells(first_px=0, step_px=height / shape[0], count=shape[0]),
        Cells(first_px=0, step_px=width / shape[1], count=shape[1]),
    )


def test_whole_factors_agree_with_scikit_image() -> None:
    """Blocks of 5 x 4 pixels become their means (scikit-image 0.26, downscale_local_mean)."""
    wanted = downscale_local_mean(GREY, (5, 4))  # type: ignore[no-untyped-call]
    assert_allclose(means(GREY, (12, 21)), wanted, atol=ROUNDING)


@pytest.mark.parametrize("shape", [(23, 31), (59, 83), (7, 50)])
def test_broken_factors_agree_with_opencv(shape: tuple[int, int]) -> None:
    """Pixels cut by a border count by their part (OpenCV, INTER_AREA, which shrinks exactly)."""
    wanted = cv2.resize(GREY, shape[::-1], interpolation=cv2.INTER_AREA)
    # its weights are float32 too, and there are two of each: as much rounding again
    assert_allclose(means(GREY, shape), wanted, atol=2 * ROUNDING)


def test_colours_are_brought_one_by_one() -> None:
    """Three planes come out as each would alone."""
    found = means(COLOUR, (11, 13))
    for plane in range(3):
        assert_allclose(found[:, :, plane], means(COLOUR[:, :, plane], (11, 13)), atol=ROUNDING)


def test_finer_pixels_repeat_the_samples() -> None:
    """Four pixels to a sample are four times the sample: nothing is smoothed."""
    assert_allclose(means(GREY, (240, 336)), GREY.repeat(4, 0).repeat(4, 1), atol=ROUNDING)


def test_the_border_goes_on_or_the_image_comes_again() -> None:
    """Outside of the image lies its border value, or with repeat the image itself."""
    row = ArrayReference(data=np.arange(6, dtype=np.float32)[None], pixel_size_um=1.0)
    one, cells = Cells(first_px=0, step_px=1, count=1), Cells(first_px=-2, step_px=2, count=5)
    assert_allclose(area_means(row, one, cells)[0], [0, 0.5, 2.5, 4.5, 5])
    assert_allclose(area_means(row, one, cells, repeat=True)[0], [4.5, 0.5, 2.5, 4.5, 0.5])


def test_blocks_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A large image read in many blocks gives the very same values."""
    at_once = means(GREY, (23, 31))
    monkeypatch.setattr(views, "_BLOCK_VALUES", 300)
    assert np.array_equal(means(GREY, (23, 31)), at_once)
