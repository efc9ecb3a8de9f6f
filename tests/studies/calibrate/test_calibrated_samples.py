"""What a photograph cannot carry is told: ends of the scale, coarse steps, JPEG blocks."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import data

from linesim.studies.calibrate.asked import Asked, read_patch
from linesim.studies.calibrate.minded import cautions
from linesim.studies.calibrate.patches import blockiness, coarse_below
from linesim.studies.calibrate.study import Calibrated, calibrate
from tests.studies.calibrate.conftest import card

Write = Callable[..., Path]


def done(path: Path, *patches: str, **more: object) -> Calibrated:
    """Calibrate a file."""
    asked = {"pixel_size_um": 50.0, **more}
    return calibrate(Asked(image=path, patches=tuple(map(read_patch, patches)), **asked))  # type: ignore[arg-type]


def codes_of(found: Calibrated) -> set[str]:
    """Name its cautions."""
    return {each.code for each in cautions(found)}


def test_a_blown_out_patch_is_left_out(photographed: Write) -> None:
    """A white patch at full scale says nothing: the others count, and the sentence says so."""
    scene, patches = card([0.9, 0.36, 0.09])
    found = done(photographed(np.minimum(1.3 * scene, 1.0), bits=8), *patches)
    assert [str(each.region) for each in found.used] == [p.partition(" =")[0] for p in patches[1:]]
    # a step of eight bits is 0.4 % of full scale at 0.47
    assert found.data[12, 24 + 12] == pytest.approx(0.36, abs=0.005)
    assert {"patch_clipped", "clipped"} <= codes_of(found)
    assert found.ends.share_highest == pytest.approx(1 / 3)


def test_coarse_steps_of_eight_bits(photographed: Write) -> None:
    """
    In the toe of sRGB a step is 1/(255 x 12.92) of light, over 5 % of it below 20 steps.

    IEC 61966-2-1: the toe is straight up to code 10.3; above it the step at code c is 2.4/(c + 14)
    of the light (0.055 x 255 = 14), which is 5 % at c = 34, where light is 0.0160.
    """
    scene, patches = card([0.5, 0.008])
    found = done(photographed(scene, bits=8), patches[0])
    assert found.coarse_reflectance == pytest.approx(0.0160, rel=0.08)  # a code is 5 % there
    assert found.share_coarse == pytest.approx(0.5)
    assert "coarse_steps" in codes_of(found)
    fine = done(photographed(scene, "fine.tif", bits=16), patches[0])
    assert fine.coarse_reflectance < 1e-3
    assert "coarse_steps" not in codes_of(fine)


def test_linear_numbers_have_coarse_steps_below_twenty() -> None:
    """Of 255 even steps the twentieth is 5 % of itself."""
    assert coarse_below(np.arange(256) / 255.0) == pytest.approx(19 / 255)


@pytest.mark.parametrize(("quality", "code"), [(20, "jpeg_blocks"), (95, "jpeg")])
def test_jpeg_blocks_are_seen(tmp_path: Path, quality: int, code: str) -> None:
    """`camera` of scikit-image (CC0), packed hard, shows its blocks; packed well, it does not."""
    path = tmp_path / "photo.jpg"
    Image.fromarray(data.camera()[:256, :256]).save(path, quality=quality)  # type: ignore[no-untyped-call]
    found = done(path, "2,2,20,20 = 0.5")
    assert codes_of(found) & {"jpeg_blocks", "jpeg"} == {code}


def test_a_photograph_that_was_never_packed_has_no_blocks() -> None:
    """`gravel` of scikit-image (CC0): steps over every eighth border are like the others."""
    # 64 x 512 border steps of relative sd about 1 give their mean to 0.6 %
    assert blockiness(data.gravel()) == pytest.approx(1, abs=0.03)  # type: ignore[no-untyped-call]


def test_a_patch_across_an_edge_is_told(photographed: Write) -> None:
    """A rectangle that reaches into the next field is uneven."""
    scene, patches = card([0.5, 0.2])
    found = done(photographed(scene, bits=16), "10,4,20,16 = 0.4")
    assert "patch_uneven" in codes_of(found)
    assert "patch_uneven" not in codes_of(done(photographed(scene, bits=16), patches[0]))


def test_patches_mixed_up_are_told(photographed: Write) -> None:
    """Two greys told the wrong way round leave a residual that no curve takes away."""
    scene, _ = card([0.9, 0.5, 0.3, 0.15, 0.05])
    told = [0.9, 0.3, 0.5, 0.15, 0.05]
    patches = [f"{24 * n + 4},4,16,16 = {level}" for n, level in enumerate(told)]
    assert "tone_fits_badly" in codes_of(done(photographed(scene, bits=16), *patches))


def test_highlights_are_cut_at_a_perfect_white(photographed: Write) -> None:
    """What comes out over 1 is cut there, and told, unless a patch is as light."""
    scene, patches = card([0.9, 0.3, 1.6])
    path = photographed(0.6 * scene, bits=16)
    cut = done(path, *patches[:2])
    assert cut.data.max() == 1
    assert "above_ceiling" in codes_of(cut)
    kept = done(path, *patches)
    assert kept.data.max() == pytest.approx(1.6, abs=1e-3)
    assert "above_ceiling" not in codes_of(kept)


def test_colour_made_grey_is_luminance(photographed: Write) -> None:
    """IEC 61966-2-1: Y = 0.2126 R + 0.7152 G + 0.0722 B of linear light."""
    image = np.full((24, 48, 3), 0.5)
    image[:, 24:] = (0.8, 0.2, 0.4)
    found = done(photographed(image, bits=16), "2,2,20,20 = 0.5", grey=True)
    assert found.data.shape == (24, 48)
    wanted = 0.2126 * 0.8 + 0.7152 * 0.2 + 0.0722 * 0.4
    np.testing.assert_allclose(found.data[:, 24:], wanted, atol=1e-4)  # steps of 16 bit, thrice


def test_a_grey_patch_balances_colours(photographed: Write) -> None:
    """One grey patch in yellow light brings each channel to the same scale."""
    image = np.full((24, 48, 3), 0.5)
    image[:, 24:] = (0.4, 0.2, 0.1)
    found = done(photographed(image * (0.9, 0.8, 0.5), bits=16), "2,2,20,20 = 0.5")
    np.testing.assert_allclose(found.data[12, 36], (0.4, 0.2, 0.1), atol=1e-4)


def test_a_reflectance_may_be_in_per_cent() -> None:
    """Cards state per cent: 18 % is 0.18, alone or one a colour."""
    assert read_patch("1,2,3,4 = 18 %").reflectance == (0.18,)
    assert read_patch("1,2,3,4=40%, 0.12, 10 %").reflectance == (0.4, 0.12, 0.1)
