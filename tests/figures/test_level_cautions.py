"""Cautions about levels: which limit clips, and when a target's own texture is told of."""

from typing import Any

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.figures.level_cautions import seen_rms
from linesim.figures.product import own_texture
from linesim.forward.station import station
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from linesim.targets.foil import foil
from linesim.targets.load import target_size

Changes = dict[str, Any]
FOIL: Changes = {
    "target.image": "foil",
    "target.pixel_size": "20 um",
    "requirement.smallest_defect": "300 um",
}


def codes(caution_base: Setup, changes: Changes) -> set[str]:
    """Codes of all cautions of a variant."""
    return {caution.code for caution in budget(changed(caution_base, changes)).cautions}


def test_a_texture_over_the_noise_is_told(caution_base: Setup) -> None:
    """In much light the foil's own pattern is more than the noise; in little it is not."""
    assert "texture_over_noise" in codes(caution_base, {**FOIL, "light.irradiance": "400 W/m^2"})
    assert "texture_over_noise" not in codes(caution_base, {**FOIL, "light.irradiance": "4 W/m^2"})


@pytest.mark.parametrize(
    "changes",
    [
        {"requirement.texture": "target"},
        {"requirement.smallest_defect": None},
        {"target.image": "flat", "target.pixel_size": "18.75 um"},
    ],
)
def test_a_texture_is_told_only_where_it_is_missed(caution_base: Setup, changes: Changes) -> None:
    """Not where it is counted, where nothing is looked for on it, or where there is none."""
    assert "texture_over_noise" not in codes(
        caution_base, {**FOIL, "light.irradiance": "400 W/m^2", **changes}
    )


def test_the_texture_is_as_strong_as_in_a_rendered_scan(caution_base: Setup) -> None:
    """
    The share that is told is the spread of the samples about the even product, noise taken off.

    The scan of the foil without faults in so much light that its noise is a tenth of the texture;
    the measured power leaves slow changes out (tiles of 64 pixels), so the two agree to 25 %.
    """
    setup = changed(caution_base, {**FOIL, "light.irradiance": "400 W/m^2"})
    texture = own_texture(target_size(setup))
    assert texture is not None
    told = seen_rms(station(setup), texture)
    plain = foil(width_mm=20.0, height_mm=12.0, pixel_size_um=20.0, faults=False)
    lit = changed(setup, {"acquisition.lines": 150, "camera.full_well": "400 ke"})
    image = scan(lit, reference=plain.rows(0, plain.shape[0])).expected_e
    # pieces of 17 samples are a tile of 64 pixels of 20 um each
    pieces = image[:136, :255].reshape(8, 17, 15, 17)
    spread = pieces.std(axis=(1, 3)) / pieces.mean(axis=(1, 3))
    assert float(np.median(spread)) == pytest.approx(told, rel=0.25)


def test_white_may_saturate_where_the_product_does_not(caution_base: Setup) -> None:
    """A foil of 11 % under light that saturates a card: told so, and no clipping of the product."""
    setup = changed(caution_base, {**FOIL, "light.irradiance": "400 W/m^2"})
    found = budget(setup)
    text = {each.code: each.text for each in found.cautions}
    assert "brightest part stays under it" in text["well_clips"]
    assert next(v for v in found.verdicts if v.requirement == "clipping").met
    assert "clips_product" not in text


def test_a_product_that_clips_is_told(caution_base: Setup) -> None:
    """With its noise, 3.09 spreads above its level: 19.58 ke of 20 ke do, 19.56 ke do not."""
    white_e = float(budget(caution_base)["signal"]["electrons_white"])
    # S + 3.09 sqrt(S) = 20 000 at S = 19 567.6 e; derived
    for electrons, there in ((19_590, True), (19_540, False)):
        light = f"{100 * electrons / white_e!r} W/m^2"
        given = {"light.irradiance": light, "camera.gain": "0.1 DN/e"}
        assert ("clips_product" in codes(caution_base, given)) is there


def test_only_the_nearest_limit_is_named(caution_base: Setup) -> None:
    """Far too much light: one of the three saturation codes, and its factor."""
    white_e = float(budget(caution_base)["signal"]["electrons_white"])
    found = budget(changed(caution_base, {"light.irradiance": "900 W/m^2"})).cautions
    text = {caution.code: caution.text for caution in found}
    assert set(text) & {"well_clips", "node_clips", "word_clips"} == {"well_clips"}
    assert f"{9 * white_e / 20e3:.3g} times" in text["well_clips"]


@pytest.mark.parametrize("product", ["cloth", "timber", "print"])
def test_a_product_has_a_texture_of_its_own(product: str, caution_base: Setup) -> None:
    """Threads, grain and screen dots hide discs that the camera's noise alone would not."""
    plain = {**FOIL, "target.image": product, "light.irradiance": "100 W/m^2"}
    alone, counted = (
        budget(changed(caution_base, {**plain, **more})).number(
            "detection", "smallest_detectable_um"
        )
        for more in ({}, {"requirement.texture": "target"})
    )
    assert counted > 1.02 * alone
