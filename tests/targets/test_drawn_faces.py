"""Sheet, film and glaze under their lamps: what each drawn side of them does in the picture."""

from math import radians, sin
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.compare.lights import light_variants
from linesim.studies.compare.study import compare
from linesim.studies.scan.study import scan
from linesim.targets.catalogue import make
from linesim.targets.faces.faced import FacedReference, lit_reference
from linesim.targets.film import HOLES as FILM_HOLES
from linesim.targets.load import target_reference
from linesim.targets.painted import FacedTarget
from linesim.targets.sheet import HOLE_PLACE, MARK_PLACE

SIZE: dict[str, Any] = {"width_mm": 24.0, "height_mm": 18.0}


def station(image: str, **light: object) -> Setup:
    """Give a station over a small piece of a target, with a strip in the camera's mirror."""
    strip = {"arrangement": "line", "angle": "20 deg", "angular_width": "12 deg", **light}
    lit = {"irradiance": "60 W/m^2", **strip}
    return setup_from(
        {
            "title": image,
            "target": {"image": image, "pixel_size": "40 um", "width": "24 mm", "height": "18 mm"},
            "transport": {"speed": "60 m/min"},
            "lens": {"magnification": 0.06},
            "light": {key: value for key, value in lit.items() if value},
            "camera": {"pixels": 192, "pixel_width": "7 um", "angle": "20 deg"},
        }
    )


def lit(setup: Setup) -> FacedReference:
    """Give the target as its lamp shows it."""
    found = lit_reference(setup, target_reference(setup))
    assert isinstance(found, FacedReference)
    return found


def whole(setup: Setup) -> np.ndarray:
    """Give all of its radiance factors, as shares of white."""
    found = lit(setup)
    return found.rows(0, found.shape[0])


def at(values: np.ndarray, place: tuple[float, float]) -> float:
    """Give the value at shares of width and height."""
    rows, columns = values.shape[:2]
    return float(values[int(place[1] * rows), int(place[0] * columns)])


def test_a_sheet_mirrors_where_it_is_bare() -> None:
    """In bright field the metal is far over white; the hole next to black, the ink far below."""
    seen = whole(station("sheet"))
    metal, hole = float(np.median(seen)), at(seen, HOLE_PLACE)
    assert metal > 4
    assert hole < 0.02 * metal
    ring = (MARK_PLACE[0] + 1.65 / 24, MARK_PLACE[1])
    assert hole < at(seen, ring) < 0.3 * metal


def test_a_groove_turns_from_dark_to_bright() -> None:
    """The groove across travel is dark on bright, and bright on dark where the lamp moves away."""
    bright, dark = light_variants(station("sheet"), ["bright field", "dark field"])
    # across travel at 0.62 of the width and 0.20 of the height, 80 um wide
    places = [whole(each.setup)[85:95, 360:380] for each in (bright, dark)]
    plain = [whole(each.setup)[100:105, 360:380].mean() for each in (bright, dark)]
    assert places[0].min() < 0.7 * plain[0]
    assert places[1].max() > 2 * plain[1]
    assert places[0].max() < 1.2 * plain[0]


def test_a_hole_shines_from_behind() -> None:
    """Opaque metal is black, and through the hole the lamp itself is seen: 2/(sin b - sin a)."""
    back = changed(station("sheet"), {"light.arrangement": "back"})
    seen = whole(back) * back.target.white_reflectance
    edges = sin(radians(26)) - sin(radians(14))
    assert np.median(seen) == 0.0
    assert at(seen, HOLE_PLACE) == pytest.approx(2 / edges, rel=1e-5)


def test_a_film_is_as_clear_as_drawn() -> None:
    """
    Transmittance and haze of the film's own in the line of sight; in haze alone beside it.

    τ (h + (1 - h) 2/(sin b - sin a)) with τ = 0.91 and h = 0.05 (derived), on film without marks.
    """
    setup = changed(station("film"), {"light.arrangement": "back"})
    edges = sin(radians(26)) - sin(radians(14))
    for angle, expected in (("20 deg", 0.91 * (0.05 + 0.95 * 2 / edges)), ("60 deg", 0.91 * 0.05)):
        seen = whole(changed(setup, {"light.angle": angle})) * 0.8
        assert float(np.median(seen)) == pytest.approx(expected, rel=2e-3)


def test_light_passes_a_hole_in_film_straight() -> None:
    """Without film there is no haze and no spread: 2/(sin b - sin a) of an endless lamp there."""
    back = changed(station("film"), {"light.arrangement": "back"})
    edges = sin(radians(26)) - sin(radians(14))
    held = FILM_HOLES[0][:2]
    assert at(whole(back), held) * 0.8 == pytest.approx(2 / edges, rel=1e-5)
    # beside the lamp nothing of it comes straight on
    beside = changed(back, {"light.angle": "60 deg"})
    assert at(whole(beside), held) == pytest.approx(0.0, abs=1e-6)


def test_own_keys_go_before_the_target_s_own() -> None:
    """A gloss of the file stands in for the target's; 0 leaves relief and the matt part."""
    setup = station("sheet")
    dull = changed(setup, {"target.gloss": 0.0})
    assert float(np.median(whole(dull))) == pytest.approx(0.119, abs=0.003)
    half = changed(setup, {"target.gloss": 0.3, "target.rms_slope": 0.05})
    assert 0.3 < np.median(whole(half)) / np.median(whole(setup)) < 0.7


def test_heights_are_those_drawn() -> None:
    """What lights the target is its own relief, row by row."""
    drawn = make("sheet", pixel_size_um=40.0, **SIZE)
    assert isinstance(drawn, FacedTarget)
    relief = lit(station("sheet")).relief
    assert relief is not None
    assert_allclose(relief.heights[1:-1, 1:-1], drawn.heights(0, drawn.shape[0]), rtol=0, atol=0)


@pytest.mark.parametrize("image", ["sheet", "film", "glaze"])
def test_budget_and_picture_agree(image: str) -> None:
    """
    The product's electrons are the median of the picture, as the lamp shows it.

    A median of bands against that of the picture: within 3 % for what texture and blur shift.
    """
    setup = station(image)
    told = budget(setup)["signal"]["electrons_product"]
    found = scan(setup).expected_e
    assert float(np.median(found)) == pytest.approx(float(told), rel=0.03)


def test_processes_draw_the_same_faces() -> None:
    """A comparison gives what each scan alone gives."""
    setup = station("sheet")
    found = compare(setup, light_variants(setup, ["bright field", "even"]), seed=3)
    alone = [scan(one.scan.setup, 3).image for one in found.variants]
    for one, image in zip(found.variants, alone, strict=True):
        assert (one.scan.image == image).all()


def test_a_sheet_of_any_length_goes_on() -> None:
    """Repeated it is as long as asked; drawn over 100 million pixels it is refused."""
    setup = changed(station("sheet"), {"target.repeat": True, "acquisition.length": "60 mm"})
    assert scan(setup).image.shape[0] > 400
    huge = changed(setup, {"target.height": "90 m"})
    with pytest.raises(InputError, match="its relief is held in memory"):
        target_reference(huge)
