"""Keys of lamp, camera and surface: what goes together, and what is refused in a sentence."""

from math import cos, radians
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed, load_setup, sample_setup, setup_from
from linesim.setup.resolve import resolved_text

BASE = sample_setup()
LINE = {"light.arrangement": "line", "light.angle": "20 deg", "light.angular_width": "10 deg"}
GLOSSY = {"target.gloss": 0.5, "target.rms_slope": 0.05}

LAMP = {
    "light.arrangement": "line",
    "light.angle": "20 deg",
    "light.lamp_width": "30 mm",
    "light.lamp_distance": "150 mm",
}
BACK = {
    "light.arrangement": "back",
    "light.angle": "0 deg",
    "light.angular_width": "20 deg",
    "target.transmittance": 0.3,
}
PLAIN = changed(BASE, {"light.illuminance": None, "light.irradiance": "30 W/m^2"})


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"light.lamp_width": "3 mm"}, 'light.lamp_width: read "3 mm", but the light comes from'),
        ({**LAMP, "light.lamp_width": None}, "light.lamp_width: nothing was read, but lamp_dist"),
        ({**LAMP, "light.angular_width": "5 deg"}, 'light.angular_width: read "5 deg" and lamp_w'),
        ({**LAMP, "light.lamp_width": "3 m"}, "168.6 deg in all, so that the lamp would reach"),
        (
            {**LAMP, "light.lamp_illuminance": "1 klx"},
            "light.irradiance, light.lamp_illuminance: read",
        ),
        (
            {**LAMP, "light.irradiance": None, "light.lamp_illuminance": "1 klx"},
            "light.lamp_stated_distance: nothing was read, but lamp_illuminance needs it",
        ),
        ({"light_2.angle": "5 deg"}, "light_2.illuminance, light_2.irradiance: nothing was read"),
        ({**BACK, "target.transmittance": None}, "target.transmittance: nothing was read, but"),
        ({"target.haze": 0.5}, "target.haze: read 0.5, but it is a share of the light let through"),
        ({"target.transmittance": "no.png"}, "neither a number nor an image file that there is"),
        ({"light.maintenance_factor": 0}, "light.maintenance_factor: read 0"),
    ],
)
def test_lamps_that_do_not_go_together_are_refused(changes: dict[str, Any], told: str) -> None:
    """One sentence with the key, what was read, and what is expected."""
    with pytest.raises(InputError) as refusal:
        changed(PLAIN, changes)
    assert told in " ".join(str(refusal.value).split()), str(refusal.value)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"light.angle": "20 deg"}, 'light.angle: read "20 deg", but the light comes from every'),
        ({**LINE, "light.angle": None}, "light.angle: nothing was read"),
        ({**LINE, "light.angular_width": None}, "light.angular_width: nothing was read"),
        ({**LINE, "light.angle": "89.5 deg"}, "but 89.5 deg is outside -89 to 89 deg"),
        ({**LINE, "light.angle": "85 deg"}, "below the target's plane; expected at most 9.8 deg"),
        ({**LINE, "light.arrangement": "ring"}, 'light.arrangement: read "ring"'),
        ({"target.gloss": 1.2, "target.rms_slope": 0.05}, "target.gloss: read 1.2, but this is"),
        (
            {**GLOSSY, "target.white_reflectance": 0},
            "target.white_reflectance: read 0, but a face that mirrors is told beside its white",
        ),
        ({"target.gloss": 0.04}, "target.rms_slope: nothing was read, but a face that mirrors"),
        ({"target.rms_slope": 0.04}, "target.gloss: nothing was read, but a face that mirrors"),
        ({**GLOSSY, "target.rms_slope_along": 0.1}, "expected one slope for both directions"),
        (
            {"target.gloss": 0.5, "target.rms_slope_along": 0.1},
            "target.rms_slope_across: nothing was read",
        ),
        ({"target.relief_range": "10 um"}, "target.relief: nothing was read"),
        ({"target.relief": "no.png", "target.relief_range": "1 um"}, "does not exist"),
        ({"camera.angle": "70 deg"}, "but 70 deg is outside -60 to 60 deg"),
    ],
)
def test_what_does_not_go_together_is_told(changes: dict[str, Any], told: str) -> None:
    """One sentence with the key, what was read, and what is expected."""
    with pytest.raises(InputError) as refusal:
        changed(BASE, changes)
    assert told in " ".join(str(refusal.value).split()), str(refusal.value)


def test_a_camera_that_leans_sees_longer_pixels() -> None:
    """p/(m cos c) along travel, and the matched line rate falls with it (derived)."""
    leaning = changed(BASE, {"camera.angle": "40 deg"})
    straight, tilted = (budget(each)["geometry"] for each in (BASE, leaning))
    share = cos(radians(40))
    assert tilted["object_pixel_x_um"] == straight["object_pixel_x_um"]
    for name in ("object_pixel_y_um", "line_advance_um"):
        assert tilted[name] == pytest.approx(float(straight[name]) / share, rel=1e-12)
    assert tilted["line_rate_hz"] == pytest.approx(float(straight["line_rate_hz"]) * share)


def test_the_starter_shows_the_keys() -> None:
    """What may be left out is not written into a resolved setup."""
    assert "arrangement" not in resolved_text(BASE, Path())


def test_a_relief_is_named_from_where_the_setup_lies(tmp_path: Path) -> None:
    """A resolved setup elsewhere reads the same images."""
    iio.imwrite(tmp_path / "relief.png", np.zeros((40, 40), np.uint16))
    texts: dict[str, Any] = {
        "title": "Relief",
        "target": {
            "image": "flat",
            "pixel_size": "50 um",
            "width": "2 mm",
            "height": "2 mm",
            "relief": "relief.png",
            "relief_range": "1 um",
        },
        "transport": {"speed": "1 m/s"},
        "lens": {"magnification": 0.1},
        "light": {"illuminance": "1 klx"},
        "camera": {"pixels": 16, "pixel_width": "7 um"},
    }
    setup = setup_from(texts, tmp_path)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "setup.toml").write_text(resolved_text(setup, tmp_path / "out"), "utf-8")
    again = load_setup(tmp_path / "out" / "setup.toml")
    assert again.target.relief == "../relief.png"
    assert again == setup
