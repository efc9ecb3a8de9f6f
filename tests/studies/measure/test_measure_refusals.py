"""What cannot be measured is refused in a sentence; what can, but means less, is told."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile

from linesim.metrics.region import Region
from linesim.setup.errors import InputError
from linesim.studies.measure.flat.noise import MeasuredNoise, measure_noise
from linesim.studies.measure.flat.uniformity import measure_uniformity
from linesim.studies.measure.scene.study import measure_scene

SHAPE = (160, 120)
Picture = np.ndarray


def flat(mean_dn: float = 2000.0, noise_dn: float = 10.0, seed: int = 1) -> Picture:
    """Draw an even image."""
    values = mean_dn + np.random.default_rng(seed).normal(0, noise_dn, SHAPE)
    return np.clip(np.rint(values), 0, 4095).astype(np.uint16)


def codes(image: Picture, **options: object) -> set[str]:
    """Name the cautions of the noise of an image, black 100 DN, 12 bit."""
    given = {"black_dn": 100.0, "bit_depth": 12} | options
    found: MeasuredNoise = measure_noise([image], **given)  # type: ignore[arg-type] # mixed options
    return {each.code for each in found.cautions}


def test_an_even_image_has_nothing_against_it() -> None:
    """No caution at all."""
    assert codes(flat()) == set()


def sloped(image: Picture, across: float, along: float) -> Picture:
    """Lay slopes of so many DN over an image."""
    lines, columns = image.shape
    slope = np.linspace(0, across, columns) + np.linspace(0, along, lines)[:, None]
    return np.rint(image + slope).astype(np.uint16)


def textured(rng: np.random.Generator) -> Picture:
    """Draw a mean of four neighbours: texture that is coarser than noise."""
    white = rng.normal(2000, 40, (161, 121))
    return np.rint((white[1:, 1:] + white[:-1, 1:] + white[1:, :-1] + white[:-1, :-1]) / 4).astype(
        np.uint16
    )


@pytest.mark.parametrize(
    ("code", "image", "below"),
    [
        # 2 % of the signal of 1900 DN across; √(12·0.02/0.98) noises of drift hold 2 % of variance
        ("shading", lambda: sloped(flat(), 45, 0), lambda: sloped(flat(), 30, 0)),
        ("drift", lambda: sloped(flat(), 0, 6.5), lambda: sloped(flat(), 0, 3.5)),
        # lines that vary by 1.7 of 10 DN share 2.8 % of the variance, by 1.1 DN 1.2 %
        ("line_variation", lambda: flat() + lines_of(1.8), lambda: flat() + lines_of(1.1)),
        ("texture", lambda: textured(np.random.default_rng(2)), flat),
        ("quantisation", lambda: flat(noise_dn=0.25), lambda: flat(noise_dn=0.5)),
        ("few_lines", lambda: flat()[:99], lambda: flat()[:100]),
        ("no_signal", lambda: flat(95.0), lambda: flat(110.0)),
    ],
)  # fmt: skip
def test_cautions_on_both_sides_of_their_thresholds(
    code: str, image: Callable[[], Picture], below: Callable[[], Picture]
) -> None:
    """Each is told where its cause is there, and not a little below."""
    assert code in codes(image())
    assert code not in codes(below())


def lines_of(sd_dn: float) -> Picture:
    """Draw whole lines that vary, by an exact standard deviation."""
    drawn = np.random.default_rng(3).normal(0, 1, (SHAPE[0], 1))
    drawn -= drawn.mean()
    return np.asarray(np.rint(40 + sd_dn * drawn / drawn.std(ddof=1)), dtype=np.uint16)


def test_a_sharpened_image_is_told() -> None:
    """Noise less the mean of its neighbours: neighbours vary against each other."""
    white = np.random.default_rng(4).normal(2000, 20, (162, 122))
    sharp = 2 * white[1:-1, 1:-1] - (white[:-2, 1:-1] + white[2:, 1:-1]) / 2
    assert "sharpened" in codes(np.rint(sharp).astype(np.uint16))


def test_light_that_changed_is_told() -> None:
    """Two images whose means differ by 2 % of the signal; by 0.5 % they do not count as changed."""
    found = measure_noise([flat(), flat(2038.0, seed=2)], black_dn=100.0, bit_depth=12)
    assert [each.code for each in found.cautions] == ["changed_light"]
    assert "2.0%" in found.cautions[0].text
    same = measure_noise([flat(), flat(2009.0, seed=2)], black_dn=100.0, bit_depth=12)
    assert same.cautions == ()


def test_black_that_nobody_stated_is_told() -> None:
    """0 DN stands for it, with a caution, in all three measurements."""
    for found in (measure_noise([flat()]), measure_uniformity(flat()), measure_scene(flat())):
        assert "black_unknown" in {each.code for each in found.cautions}
        assert found.black_from == "0 DN, none was stated"


def test_clipping_is_refused_from_a_thousandth_on() -> None:
    """EMVA 1288 R4.0 RC, 6.6: 0.1 to 0.2 % of samples at an end; told with share, end and depth."""
    image = flat()
    image[0, :19] = 4095  # of 19200: 0.099 %
    measure_noise([image], black_dn=100.0)
    image[0, :20] = 4095
    for measure in (lambda: measure_noise([image]), lambda: measure_uniformity(image)):
        with pytest.raises(InputError, match=r'"array": clipped, 0.10% of the samples lie at 4095'):
            measure()
    dark = flat(1.0, 2.0)
    with pytest.raises(InputError, match=r'dark image "array": clipped, .* at 0 DN, the lower end'):
        measure_noise([flat()], dark=[dark])
    colour = np.stack([flat(), flat(4090), flat()], axis=2)
    with pytest.raises(InputError, match="of the green samples"):
        measure_noise([colour])


def test_images_that_do_not_belong_together_are_refused(tmp_path: Path) -> None:
    """Sizes, kinds, black twice, no image, too small: one sentence each, with both numbers."""
    tifffile.imwrite(tmp_path / "a.tif", flat())
    tifffile.imwrite(tmp_path / "b.tif", flat()[:, :100])
    a, b = tmp_path / "a.tif", tmp_path / "b.tif"
    region = Region(x=0, y=0, width=8, height=15)
    for call, told in (
        (lambda: measure_noise([a, b]), 'b.tif": 100 x 160 px grey read, but'),
        (lambda: measure_noise([a], dark=[b]), "columns (and channels) read; expected (120,)"),
        (lambda: measure_noise([a], dark=[a], black_dn=5.0), "black: 5 DN and dark images given"),
        (lambda: measure_noise([]), "images: none given"),
        (lambda: measure_noise([a], region=region), "8 columns and 15 lines read; expected at"),
        (lambda: measure_uniformity(flat()[:, :39]), "expected at least 40 columns and 16 lines"),
        (lambda: measure_uniformity(a, black_dn=3000.0), "DN above black, but all must lie above"),
        (lambda: measure_scene(flat()[:65]), "expected at least 66 columns and 66 lines"),
        (lambda: measure_scene(flat(9000.0)), "every block has samples at a limit; expected"),
        (lambda: measure_noise([np.zeros((20, 20))]), "expected uint8 or uint16 samples"),
    ):
        with pytest.raises(InputError) as caught:
            call()
        assert told in str(caught.value)


def test_one_depth_for_all_images() -> None:
    """A dark frame that fits into 10 bit, beside images that need 12: all are taken as 12."""
    found = measure_noise([flat()], dark=[flat(100.0, 3.0)])
    assert (found.areas[0].bit_depth, found.areas[0].full_scale_dn) == (12, 4095)
    told = found.as_dict()
    assert told["bit_depth_from"] == "smallest usual depth that holds the samples"
    assert told["black_from"] == "dark images"


def test_a_region_is_cut_from_all() -> None:
    """Figures are those of the region alone; where it lies is told."""
    image = flat()
    image[:, :20] += 500
    region = Region(x=20, y=10, width=80, height=120)
    found = measure_noise([image], region=region, black_dn=100.0)
    assert found.channels["grey"].lit.mean_dn.value == pytest.approx(image[10:130, 20:100].mean())
    assert found.as_dict()["region"] == {"x_px": 20, "y_px": 10, "width_px": 80, "height_px": 120}


def test_a_scene_tells_what_it_lacks() -> None:
    """Clipped, dark, without detail: each told; an even image has no ratio of sharpness."""
    image = flat(200.0)
    image[:4] = 0
    found = measure_scene(image, black_dn=100.0, bit_depth=12)
    assert {each.code for each in found.cautions} == {"clipped", "dark", "no_detail"}
    told = found.as_dict()
    assert told["share_at_zero"] == pytest.approx(4 / 160)
    assert "sharpness_along_across" not in told


def test_a_steep_line_needs_more_than_a_correction() -> None:
    """A line that falls to a quarter is cautioned, to a half not."""
    for low, is_told in ((0.25, True), (0.5, False)):
        image = np.rint(flat(3000.0) * np.linspace(low, 1, SHAPE[1])).astype(np.uint16)
        found = measure_uniformity(image, black_dn=0.0)
        assert ("flat_field_gain" in {each.code for each in found.cautions}) is is_told
