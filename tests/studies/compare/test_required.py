"""The required defect at its size in each variant, whatever lies on the target."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.files.srgb import srgb_to_linear
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.compare.required import Required, required_defects, required_words
from linesim.studies.compare.sheet import required_sheet
from linesim.studies.compare.study import compare
from tests.stations import plain_setup

CONTRAST, SIZE_UM = 0.3, 1200.0
BASE = plain_setup(
    "Required",
    target={"width": "12 mm", "height": "3 mm"},
    light={"illuminance": "300 klx"},
    camera={
        "pixels": 160,
        "full_well": "4000 ke",
        "read_noise": "2 e",
        "bit_depth": 16,
        "prnu": 0.0,
        "dsnu": "0 e",
    },
    requirement={
        "smallest_defect": f"{SIZE_UM} um",
        "defect_contrast": CONTRAST,
        "product_reflectance": 0.5,
    },
)
MODES = ("1x1", "2x1", "1x2", "2x2")


def levels(shown: Required) -> np.ndarray:
    """
    Turn greys back into shares of the product's level.

    The scale reaches twice the contrast to either side, and is encoded as sRGB (IEC 61966-2-1).
    """
    grey = shown.image if shown.image.ndim < 3 else shown.image[..., 0]
    share = srgb_to_linear(grey / 255)
    reach = 2 * CONTRAST
    return np.asarray((1 - reach) + 2 * reach * share)


@pytest.mark.parametrize("keys", [{}, {"camera.kind": "prism"}], ids=["mono", "prism"])
def test_it_is_as_dark_and_as_large_as_required(keys: dict[str, object]) -> None:
    """
    The darkness summed over all samples is contrast x area of the disc, in each variant.

    Blur moves darkness and keeps its sum. The product's own level is read off the rim, where its
    greys are rounded alike. Noise of SNR 140 and more in 10240 samples of 75 x 75 um adds
    75²√10240/140 = 4.1e3 µm² at most, 1.2 % of the disc's 3.4e5: 4 of them; the disc is 64
    reference pixels across, right to 0.2 %.
    """
    found = compare(changed(BASE, keys), MODES)
    area_um2 = np.pi * SIZE_UM**2 / 4
    for shown in required_defects(found.variants):
        seen = levels(shown)
        missing = seen[: len(seen) // 4].mean() - seen
        cell_um2 = shown.grid.across_um * shown.grid.along_um
        assert_allclose(missing.sum() * cell_um2, CONTRAST * area_um2, rtol=0.05)
        middle = tuple(side // 2 for side in missing.shape)
        assert_allclose(missing[middle], CONTRAST, atol=0.05)


def test_all_see_the_same_piece() -> None:
    """Width and length on the target are one in all variants, whatever their samples."""
    shown = required_defects(compare(BASE, MODES).variants)
    sides = {
        (
            round(each.image.shape[1] * each.grid.across_um, 3),
            round(each.image.shape[0] * each.grid.along_um, 3),
        )
        for each in shown
    }
    assert len(sides) == 1
    assert min(next(iter(sides))) > SIZE_UM


def test_a_speck_on_the_target_is_not_taken_for_it() -> None:
    """The same required defect on another target of the same product is the same picture."""
    foil = changed(BASE, {"target.image": "foil"})
    one, other = (required_sheet(compare(setup, ("1x1", "2x2"))) for setup in (BASE, foil))
    assert one is not None
    assert other is not None
    assert np.array_equal(one, other)


def test_without_a_requirement_there_is_none() -> None:
    """Nothing is magnified where nothing is asked for."""
    plain = changed(BASE, {"requirement.smallest_defect": None})
    found = compare(plain, ("1x1", "2x2"))
    assert required_defects(found.variants) == ()
    assert required_sheet(found) is None
    assert required_words(plain) == ""


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({}, "disc of 1200 um, 30 % darker than the product"),
        ({"requirement.defect_shape": "scratch-along"}, "scratch of 1200 um, 30 % darker"),
    ],
)
def test_it_is_named(keys: dict[str, object], words: str) -> None:
    """Shape, size and contrast."""
    assert required_words(changed(BASE, keys)).startswith(words)


def lit(angle: str) -> Setup:
    """Place a lamp on rolled sheet, and ask for a groove across travel."""
    return changed(
        BASE,
        {
            "target.gloss": 0.6,
            "target.rms_slope": 0.05,
            "target.white_reflectance": 0.4,
            "light.illuminance": "60 klx",
            "light.arrangement": "line",
            "light.angle": angle,
            "light.angular_width": "10 deg",
            "requirement.product_reflectance": None,
            "requirement.smallest_defect": None,
            "requirement.defect_contrast": None,
            "requirement.defect_relief": {
                "kind": "groove",
                "width": "300 um",
                "depth": "8 um",
                "length": "2 mm",
                "direction": "across",
            },
        },
    )


def test_a_groove_is_dark_in_bright_field_and_flashes_in_dark_field() -> None:
    """Its flanks turn the lamp's mirror image away from the camera, or towards it."""
    found = compare(lit("0 deg"), ["light.angle=35 deg"])
    bright, dark = (each.image.astype(float) for each in required_defects(found.variants))
    edges = [np.median(image[0]) for image in (bright, dark)]
    middle = slice(bright.shape[1] // 3, 2 * bright.shape[1] // 3)
    assert bright[:, middle].min() < edges[0] - 20
    assert dark[:, middle].max() > edges[1] + 20
