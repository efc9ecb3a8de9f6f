"""Reflectances come back through a camera's tone, glare and shading."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from skimage import data

from linesim.forward.station import station
from linesim.setup.load import changed, sample_setup, setup_from
from linesim.studies.calibrate.asked import Asked, read_patch
from linesim.studies.calibrate.minded import cautions
from linesim.studies.calibrate.outputs import white_of, write_calibration
from linesim.studies.calibrate.study import Calibrated, calibrate
from linesim.targets.load import target_reference
from tests.studies.calibrate.conftest import Array, card, toned

Write = Callable[..., Path]
LEVELS = [0.9, 0.59, 0.36, 0.19, 0.09, 0.031]


def done(path: Path, patches: list[str], **more: object) -> Calibrated:
    """Calibrate a file."""
    asked = {"encoding": "linear", "pixel_size_um": 50.0, **more}
    return calibrate(Asked(image=path, patches=tuple(map(read_patch, patches)), **asked))  # type: ignore[arg-type]


POWERS = [(i, j) for i in range(5) for j in range(5 - i)]
CAMERAS: dict[int, dict[str, float]] = {
    1: {},
    2: {"glare": 0.03},
    3: {"glare": 0.03, "gamma": 1.2},
    6: {"glare": 0.02, "gamma": 0.8, "shoulder": 0.7},
}


@pytest.mark.parametrize("count", CAMERAS)
def test_so_many_patches_undo_so_much_of_a_camera(photographed: Write, count: int) -> None:
    """
    Reflectances between and beyond the patches come back to rounding.

    Values are float32, 6e-8 of each; the search ends at 1e-12 of its numbers. What the fit makes
    of that was seen to stay under 100 times it.
    """
    ramp = np.linspace(0.02, 0.9, 144).reshape(1, -1).repeat(6, axis=0)
    scene, patches = card(LEVELS)
    path = photographed(toned(0.7 * np.vstack([scene, ramp]), **CAMERAS[count]))
    chosen = {1: [1], 2: [0, 4], 3: [0, 2, 5], 6: range(6)}[count]
    found = done(path, [patches[index] for index in chosen])
    np.testing.assert_allclose(found.data[24:], ramp, atol=1e-5, rtol=0)
    assert np.abs(found.residual).max() < 1e-5


def test_too_few_patches_leave_the_bend(photographed: Write) -> None:
    """Two patches cannot see a gamma: between them it is off, and the residual cannot say so."""
    scene, patches = card(LEVELS)
    path = photographed(toned(0.7 * scene, gamma=1.3))
    found = done(path, [patches[0], patches[4]])
    middle = found.data[4:20, 2 * 24 + 4 : 3 * 24 - 4]
    assert np.abs(found.residual).max() < 1e-6
    assert np.abs(middle - 0.36).max() > 0.01


def noisy(values: Array, sd: float, seed: int) -> Array:
    """Add what a sensor adds."""
    return np.asarray(values + sd * np.random.default_rng(seed).standard_normal(values.shape))


def shading(shape: tuple[int, int]) -> Array:
    """Give light that falls off to the corners by 35 %, off the middle."""
    down, across = np.meshgrid(*(np.linspace(-1, 1, side) for side in shape), indexing="ij")
    return np.asarray(1 - 0.35 * ((across - 0.2) ** 2 + (down + 0.1) ** 2) / 2)


def scene_of(shape: tuple[int, int]) -> tuple[Array, list[str]]:
    """Give a product of fine stripes on grey, with a card above it."""
    scene = 0.3 + 0.15 * np.sin(np.arange(shape[1]) / 3.0) * np.ones(shape)
    strip, patches = card(LEVELS, side=48)
    scene[:48, : strip.shape[1]] = strip
    return scene, patches


def test_a_blank_takes_the_fall_off_of_the_light_away(photographed: Write) -> None:
    """
    Eight bits, noise, glare, gamma and shading: means of blocks are right.

    A block has 900 samples of noise 0.004 (a step of 8 bits adds 0.002 at these levels), which the
    curve of slope 1.6 makes 0.0072: 4.5 sigma of the mean are 0.0011. A patch of 1600 samples adds
    a third of that. The blank's smoothing of 6 px on a parabola of 0.35/2 over 160 px is off by
    0.35/160² x 36 = 5e-4 of 0.3. In all 0.002.
    """
    shape = (240, 320)
    scene, patches = scene_of(shape)
    light = shading(shape)
    look = {"glare": 0.02, "gamma": 1.15}
    photo = photographed(noisy(toned(0.75 * scene * light, **look), 0.004, 1), bits=8)
    sheet = noisy(toned(0.68 * light, **look), 0.004, 2)
    blank = photographed(sheet, "blank.tif", bits=8)
    found = done(photo, patches, encoding="srgb", blank=blank)
    off = (found.data - scene)[60:240, 10:310]
    assert np.abs(off.reshape(6, 30, 10, 30).mean(axis=(1, 3))).max() < 0.002
    assert np.abs(found.residual).max() < 0.002


def test_glare_does_not_count_as_light(photographed: Write) -> None:
    """With glare, dark parts in the dim corner are as dark as in the middle."""
    shape = (240, 320)
    scene, patches = scene_of(shape)
    scene[60:, :] = 0.05
    light = shading(shape)
    photo = photographed(toned(0.75 * scene * light, glare=0.05))
    found = done(photo, patches, blank=photographed(toned(0.68 * light, glare=0.05), "blank.tif"))
    # smoothing of the blank: 5e-4 of light, see above, here of glare and face together
    np.testing.assert_allclose(found.data[70:230, 10:310], 0.05, atol=3e-4)


def test_flatten_takes_the_same_off_without_a_blank(photographed: Write) -> None:
    """
    The fall-off of light goes, though a pattern and a card lie over it.

    A polynomial in the logarithm cannot follow all of a fall to 0.55: the best one is fitted here
    beside it. Blocks of 10 px hold eleven grains of 3 px, of sd 25 %: theirs is 7.5 %. Fifteen
    numbers from 600 blocks are off by 0.075·sqrt(15/600) = 1.2 % rms over the picture, itself known
    to 1/sqrt(30) = 18 %: at 4 sigma 2.1 %.
    """
    shape = (240, 320)
    grains = np.random.default_rng(3).uniform(0.55, 1.45, (80, 107))
    scene = 0.4 * np.kron(grains, np.ones((3, 3)))[:240, :320]
    scene[:48, :288], patches = card(LEVELS, side=48)
    light = shading(shape)
    photo = photographed(toned(0.75 * scene * light))
    off = [
        np.log(done(photo, patches, flatten=flatten).data / scene)[60:] for flatten in (False, True)
    ]
    down, across = np.meshgrid(*(np.linspace(-1, 1, side) for side in shape), indexing="ij")
    terms = np.stack([across**i * down**j for i, j in POWERS], axis=-1).reshape(-1, len(POWERS))
    best = terms @ np.linalg.lstsq(terms, np.log(light).ravel(), rcond=None)[0]
    left = np.std(np.log(light) - best.reshape(shape))
    assert np.std(off[0]) > 0.08
    assert np.std(off[1]) < np.hypot(left, 0.021)


def test_a_coarse_pattern_is_not_taken_for_light(photographed: Write) -> None:
    """
    Even light over `gravel` of scikit-image (public domain) stays within a fifth.

    Some hundred stones of sd 35 % give an even level to 3.5 %, a parabola's six numbers to 9 %
    rms: what is taken off ranges over less than 2 sigma of the latter either way.
    """
    stones = data.gravel()[:240, :320] / 255.0  # type: ignore[no-untyped-call]
    scene = 0.05 + 0.9 * stones**2.2
    scene[:48, :288], patches = card(LEVELS, side=48)
    found = done(photographed(scene), patches, flatten=True)
    assert found.field is not None
    low, high = found.field.span
    assert high / low < 1.36


def test_flatten_says_what_it_takes_with_it(photographed: Write) -> None:
    """A product that is darker to one side is levelled too: that is what the words warn of."""
    shape = (240, 320)
    scene, patches = scene_of(shape)
    scene[48:] *= np.linspace(1, 0.7, shape[1])
    found = done(photographed(scene), patches, flatten=True)
    means = found.data[60:].mean(axis=0).reshape(-1, 20).mean(axis=1)
    assert means[-1] / means[0] > 0.93  # 0.7 before, stripes apart


def test_a_setup_decodes_the_target_to_the_reflectance(photographed: Write, tmp_path: Path) -> None:
    """What [target] reads is what was found, to half a step of 16 bit and float32."""
    scene, patches = card([1.3, *LEVELS])
    found = done(photographed(toned(0.5 * scene, glare=0.02)), patches)
    write_calibration(found, tmp_path)
    white = white_of(found.data)
    setup = setup_from(
        {
            "title": "Read back",
            "target": {
                "image": "target.tif",
                "pixel_size": "50 um",
                "encoding": "linear",
                "white_reflectance": white,
            },
            "transport": {"speed": "60 m/min"},
            "lens": {"magnification": 0.1},
            "light": {"illuminance": "40 klx"},
            "camera": {"pixels": 48, "pixel_width": "7.5 um"},
        },
        folder=tmp_path,
    )
    read = white * target_reference(setup).rows(0, 24).astype(np.float64)
    assert white >= 1.299  # the glossy patch is over a perfect white, and stays so
    assert np.abs(read - found.data).max() <= white * (0.5 / 65535 + 2.0**-23)


def test_white_may_be_lighter_than_matt() -> None:
    """A target whose white is 1.3 gives 1.3 times the electrons of a perfect matt white."""
    white_e = [
        float(station(changed(sample_setup(), {"target.white_reflectance": white})).electrons_white)
        for white in (1.0, 1.3)
    ]
    assert white_e[1] / white_e[0] == pytest.approx(1.3, rel=1e-12)


def test_patches_that_do_not_span_the_image_are_told(photographed: Write) -> None:
    """A share of samples beyond the patches is a caution with where the curve ends up."""
    scene, patches = card(LEVELS)
    found = done(photographed(scene), patches[2:4])
    told = {each.code: each.text for each in cautions(found) if each.code == "beyond_patches"}
    assert found.share_below == pytest.approx(2 / 6)
    assert found.share_above == pytest.approx(2 / 6)
    assert "33.3 % of the samples" in told["beyond_patches"]
    inside = done(photographed(scene), [patches[0], patches[5]])
    assert not [each for each in cautions(inside) if each.code == "beyond_patches"]
