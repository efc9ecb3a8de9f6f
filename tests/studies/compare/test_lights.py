"""Arrangements of the light as variants: where each puts the lamp, and with what light."""

from math import atan, degrees

import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed, load_setup
from linesim.studies.compare.lights import light_variants

FOIL = load_setup("sample_targets/foil_bright_field.toml")
THROUGH = changed(FOIL, {"target.transmittance": 0.1})


def test_each_arrangement_has_its_place() -> None:
    """
    Bright field mirrors the camera, dark field is the nearest place without gloss, back in line.

    Facets lie within 3 rms slopes (derived: 0.3 % of a normal spread beyond), and a slope turns
    light by twice its angle; the camera of the foil stands at 20°, its lamp is 10° wide.
    """
    names = ["bright field", "dark field", "even", "back", "dark field 55 deg"]
    found = {each.title: each.setup.light for each in light_variants(THROUGH, names)}
    assert {name: light.arrangement for name, light in found.items()} == {
        "bright field": "line",
        "dark field": "line",
        "even": None,
        "back": "back",
        "dark field 55 deg": "line",
    }
    angles = {name: light.angle_deg for name, light in found.items() if name != "even"}
    nearest = 20 + 5 + 2 * degrees(atan(3 * 0.04))
    assert angles == pytest.approx(
        {"bright field": 20, "dark field": nearest, "back": 20, "dark field 55 deg": 55}, rel=1e-5
    )


def test_all_have_the_same_light_on_the_target() -> None:
    """A lamp known by its sheet, too, is compared at the light that it gives where it stands."""
    sheet = {
        "light.illuminance": None,
        "light.angular_width": None,
        "light.lamp_width": "40 mm",
        "light.lamp_distance": "220 mm",
        "light.lamp_illuminance": "80 klx",
        "light.lamp_stated_distance": "100 mm",
    }
    setup = changed(FOIL, sheet)
    made = light_variants(setup, ["bright field", "dark field", "even"])
    for each in made:
        assert each.setup.irradiance_w_m2 == pytest.approx(setup.irradiance_w_m2, rel=1e-12)


def test_a_level_face_is_dark_in_dark_field() -> None:
    """All that it sends there is its matt part: under 1 % of a level mirror's light is left."""
    made = light_variants(FOIL, ["bright field", "dark field"])
    bright, dark = (float(budget(each.setup)["signal"]["radiance_factor"]) for each in made)
    assert dark == pytest.approx(0.36, abs=0.01 * bright)
    assert bright > 10 * dark


def test_a_camera_that_leans_far_has_its_dark_field_on_the_other_side() -> None:
    """Where the lamp would reach below the target it goes to the other side of the mirror."""
    leaning = changed(FOIL, {"camera.angle": "58 deg", "light.angular_width": "30 deg"})
    (_, dark) = light_variants(leaning, ["even", "dark field"])
    expected = 58 - 15 - 2 * degrees(atan(0.12))
    assert dark.setup.light.angle_deg == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (["even", "ring"], 'variant "ring": read "ring"; expected of bright field, dark field'),
        (["even 20 deg", "back"], "even light has no angle"),
        (["even", "back"], 'variant "back": target.transmittance: nothing was read'),
        (["even", "dark field 20 klx"], 'variant "dark field 20 klx"'),
        (["even", "even"], "more than once"),
    ],
)
def test_what_is_no_arrangement_is_refused(names: list[str], told: str) -> None:
    """With the variant's name, what was read, and what is expected."""
    with pytest.raises(InputError) as refusal:
        light_variants(FOIL, names)
    assert told in str(refusal.value)


def test_several_lamps_are_not_moved_as_one() -> None:
    """The refusal says how to compare them."""
    two = changed(FOIL, {"light_2.irradiance": "5 W/m^2"})
    with pytest.raises(InputError, match="read a setup of 2 lamps"):
        light_variants(two, ["even", "bright field"])
