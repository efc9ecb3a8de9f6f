"""Lamps that stand somewhere have their places among the controls of the page."""

from linesim.figures.budget import budget
from linesim.preview.controls import controls
from linesim.preview.uploads import Uploads
from linesim.preview.variant import variant
from linesim.setup.load import changed, load_setup

FOIL = load_setup("sample_targets/foil_bright_field.toml")
SECOND = {
    "light_2.arrangement": "back",
    "light_2.angle": "10 deg",
    "light_2.angular_width": "5 deg",
    "light_2.illuminance": "4 klx",
    "target.transmittance": 0.2,
}


def test_each_lamp_can_be_moved() -> None:
    """A slider a lamp that stands somewhere, at its own angle; none for light from everywhere."""
    found = {
        each["key"]: each["value"]
        for each in (
            control.described(changed(FOIL, SECOND)) for control in controls(changed(FOIL, SECOND))
        )
    }
    assert found["light.angle"] == 20
    assert found["light_2.angle"] == 10
    even = dict.fromkeys(("light.arrangement", "light.angle", "light.angular_width"))
    assert "light.angle" not in {each.key for each in controls(changed(FOIL, even))}


def test_a_lamp_that_is_moved_changes_the_product() -> None:
    """What the page asks for is the variant with that angle."""
    moved = variant(FOIL, {"light.angle": "40 deg"}, Uploads()).setup
    bright, dark = (float(budget(each)["signal"]["radiance_factor"]) for each in (FOIL, moved))
    assert bright > 10 * dark


def test_a_lamp_of_a_sheet_has_its_own_light_moved() -> None:
    """The slider moves what the file gives, so that no two lights hold at once."""
    sheet = {
        "light.illuminance": None,
        "light.angular_width": None,
        "light.lamp_width": "40 mm",
        "light.lamp_distance": "220 mm",
        "light.lamp_illuminance": "80 klx",
        "light.lamp_stated_distance": "100 mm",
    }
    first = next(iter(controls(changed(FOIL, sheet))))
    assert first.key == "light.lamp_illuminance"
    assert first.described(changed(FOIL, sheet))["value"] == 80
