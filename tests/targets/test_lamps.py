"""Lamps as they are bought and mounted: width, distance, length, several at once, from behind."""

from math import atan, degrees, radians, sin, tan
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from linesim.targets.faces.face import face_of, factors
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference

Changes = dict[str, Any]
BASE: Changes = {
    "title": "Lamps",
    "target": {"image": "flat", "pixel_size": "100 um", "width": "24 mm", "height": "6 mm"},
    "transport": {"speed": "60 m/min"},
    "lens": {"magnification": 0.05},
    "light": {"irradiance": "30 W/m^2"},
    "camera": {"pixels": 128, "pixel_width": "7.5 um"},
    "acquisition": {"lines": 24},
}
PLAIN = setup_from(BASE)
LAMP: Changes = {
    "light.arrangement": "line",
    "light.angle": "20 deg",
    "light.lamp_width": "30 mm",
    "light.lamp_distance": "150 mm",
}
GLOSS: Changes = {"target.gloss": 0.5, "target.rms_slope": 0.05, "camera.angle": "20 deg"}
BACK: Changes = {
    "light.arrangement": "back",
    "light.angle": "0 deg",
    "light.angular_width": "20 deg",
    "target.transmittance": 0.3,
}


def factor(setup: Setup) -> float:
    """Give the radiance factor of a setup's product."""
    return float(budget(setup)["signal"]["radiance_factor"])


def test_width_and_distance_are_an_angular_width() -> None:
    """2 atan(w/2d): the same face lit by the lamp and by the angle (derived)."""
    by_lamp = changed(PLAIN, {**LAMP, **GLOSS})
    angle = f"{2 * degrees(atan(30 / 300))!r} deg"
    gone = {"light.lamp_width": None, "light.lamp_distance": None}
    by_angle = changed(by_lamp, {**gone, "light.angular_width": angle})
    assert factor(by_lamp) == pytest.approx(factor(by_angle), rel=1e-12)


def rectangle(width: float, length: float, distance: float, angle_deg: float, at: float) -> float:
    """
    Give the irradiance over the radiance of a rectangular lamp turned to the middle of the line.

    By the sum over its edges, E/L = ½ Σ γ (n · g): Lambert's formula for polygons (*Photometria*,
    1760, from memory).
    """
    angle = radians(angle_deg)
    middle = distance * np.array([0.0, np.sin(angle), np.cos(angle)])
    half_x = np.array([length / 2, 0.0, 0.0])
    half_y = width / 2 * np.array([0.0, np.cos(angle), -np.sin(angle)])
    corners = [middle + a * half_x + b * half_y for a, b in ((1, 1), (-1, 1), (-1, -1), (1, -1))]
    ways = [each - [at, 0, 0] for each in corners]
    ways = [each / np.linalg.norm(each) for each in ways]
    total = 0.0
    for one, other in zip(ways, [*ways[1:], ways[0]], strict=True):
        edge = np.cross(one, other)
        total += np.arccos(one @ other) * edge[2] / np.linalg.norm(edge)
    return abs(total) / 2


@pytest.mark.parametrize("angle_deg", [0.0, 35.0, -60.0])
@pytest.mark.parametrize("at_mm", [0.0, 40.0, 150.0])
def test_a_lamp_that_ends_lights_as_a_rectangle(angle_deg: float, at_mm: float) -> None:
    """Its light in the middle and beside it is Lambert's, to the error of 64 Gauss nodes."""
    setup = changed(
        PLAIN, {**LAMP, "light.angle": f"{angle_deg} deg", "light.lamp_length": "0.2 m"}
    )
    (lamp,) = setup.lamps
    expected = [rectangle(30, 200, 150, angle_deg, at) for at in (0.0, at_mm)]
    assert lamp.strip.level == pytest.approx(expected[0], rel=1e-9)
    got = float(lamp.falls(np.array([at_mm]))[0])
    assert got == pytest.approx(expected[1] / expected[0], rel=1e-9)


def test_a_rectangle_overhead_agrees_with_the_handbook() -> None:
    """
    A rectangle overhead, seen from below its middle: F = 4 times that of one corner.

    F = (1/2π)[A/√(1+A²) atan(B/√(1+A²)) + B/√(1+B²) atan(A/√(1+B²))], A = a/h, B = b/h, of a plane
    element to a parallel rectangle (any heat-transfer handbook; from memory). E = π L F.
    """
    setup = changed(PLAIN, {**LAMP, "light.angle": "0 deg", "light.lamp_length": "90 mm"})
    a, b = 15 / 150, 45 / 150
    root_a, root_b = np.sqrt(1 + a * a), np.sqrt(1 + b * b)
    corner = (a / root_a * atan(b / root_a) + b / root_b * atan(a / root_b)) / (2 * np.pi)
    assert setup.lamps[0].strip.level == pytest.approx(np.pi * 4 * corner, rel=1e-9)


def test_a_long_lamp_is_an_endless_one() -> None:
    """100 m of lamp at 150 mm: the ends add (d/L)² of the light at most (derived)."""
    ended = changed(PLAIN, {**LAMP, "light.lamp_length": "100 m"})
    low, high = (radians(20 + side * degrees(atan(0.1))) for side in (-1, 1))
    assert ended.lamps[0].strip.level == pytest.approx(
        np.pi / 2 * (sin(high) - sin(low)), rel=(150 / 5e4) ** 2
    )


def test_light_falls_off_in_picture_and_figures_alike() -> None:
    """Under a short lamp the column profile of the picture is Lambert's, and so are the ends."""
    setup = changed(PLAIN, {**LAMP, "light.lamp_length": "40 mm"})
    image = scan(setup).expected_e.mean(axis=0)
    place_mm = (np.arange(128) + 0.5 - 64) * 0.15
    share = [rectangle(30, 40, 150, 20, at) / rectangle(30, 40, 150, 20, 0) for at in place_mm]
    signal = budget(setup)["signal"]
    assert_allclose(image / float(signal["electrons_white"]), share, rtol=1e-5)
    ends = float(signal["electrons_white_ends"]) / float(signal["electrons_white"])
    assert ends == pytest.approx(share[-1], rel=1e-6)


def test_a_sheet_states_light_at_another_place() -> None:
    """Twice as far from an endless narrow lamp leaves half the light; at 60° half of that again."""
    sheet = {**LAMP, "light.irradiance": None, "light.lamp_width": "1 mm", "light.angle": "0 deg"}
    stated = {"light.lamp_illuminance": "40 klx", "light.lamp_stated_distance": "75 mm"}
    setup = changed(PLAIN, {**sheet, **stated})
    plain = changed(PLAIN, {"light.irradiance": None, "light.illuminance": "20 klx"})
    # a strip of 1 mm is a line to (w/d)²/8
    assert setup.irradiance_w_m2 == pytest.approx(plain.irradiance_w_m2, rel=3e-5)
    leaning = changed(setup, {"light.angle": "60 deg"})
    assert leaning.irradiance_w_m2 == pytest.approx(plain.irradiance_w_m2 / 2, rel=3e-5)


def test_two_lamps_share_a_face() -> None:
    """Half the light each: the factor is the mean of both, and the light their sum."""
    one = changed(PLAIN, {**LAMP, **GLOSS})
    other = changed(one, {"light.angle": "50 deg"})
    second = {key.replace("light.", "light_2."): value for key, value in LAMP.items()}
    both = changed(one, {**second, "light_2.angle": "50 deg", "light_2.irradiance": "30 W/m^2"})
    assert both.irradiance_w_m2 == pytest.approx(60.0)
    assert factor(both) == pytest.approx((factor(one) + factor(other)) / 2, rel=1e-12)
    image = scan(both).expected_e[4:-4, 8:-8]
    assert_allclose(image.mean(), float(budget(both)["signal"]["electrons_product"]), rtol=1e-5)


def test_a_list_of_lights_is_one_table_each(tmp_path: Path) -> None:
    """[[light]] twice is [light] and [light_2], which is what a resolved setup has."""
    lamp = {key.removeprefix("light."): value for key, value in LAMP.items()}
    listed = [{"irradiance": "30 W/m^2"}, {**lamp, "irradiance": "9 W/m^2"}]
    setup = setup_from({**BASE, "light": listed})
    assert setup == setup_from({**BASE, "light": listed[0], "light_2": listed[1]})
    assert "[light_2]" in resolved_text(setup, tmp_path)
    with pytest.raises(InputError, match=r"read 5 tables \[\[light\]\]; expected one to 4"):
        setup_from({**BASE, "light": [{"irradiance": "1 W/m^2"}] * 5})


def test_a_diffuse_web_lets_its_share_through() -> None:
    """β = τ from every side, of white as much as its image says: electrons are τ/ρ of white's."""
    setup = changed(PLAIN, BACK)
    signal = budget(setup)["signal"]
    assert factor(setup) == pytest.approx(0.3, rel=1e-12)
    white = float(signal["electrons_white"])
    assert float(signal["electrons_product"]) == pytest.approx(0.3 / 0.8 * white, rel=1e-12)
    assert_allclose(scan(setup).expected_e[4:-4, 8:-8], 0.3 / 0.8 * white, rtol=1e-5)


def test_a_clear_film_shows_the_lamp_itself() -> None:
    """β = τ π L/E = 2 τ/(sin b - sin a) in the line of sight of an endless lamp, 0 beside it."""
    clear = {**BACK, "target.haze": 0.0}
    seen = changed(PLAIN, clear)
    assert factor(seen) == pytest.approx(0.3 * 2 / (2 * sin(radians(10))), rel=1e-9)
    beside = changed(PLAIN, {**clear, "light.angle": "30 deg"})
    assert factor(beside) == pytest.approx(0.0, abs=1e-12)
    leaning = changed(beside, {"camera.angle": "30 deg"})
    edges = sin(radians(40)) - sin(radians(20))
    assert factor(leaning) == pytest.approx(0.3 * 2 / edges, rel=1e-9)


def test_a_thin_prism_turns_the_line_of_sight() -> None:
    """A clear face of slope q turns light by (n - 1) q towards its thick side (thin prism)."""
    clear = {**BACK, "target.haze": 0.0, "light.angular_width": "4 deg"}
    face = face_of(changed(PLAIN, {**clear, "light.angle": "-5 deg"}))
    assert face is not None
    # n = 1.5: the lamp from -7° to -3° is seen through slopes of 2 tan 3° to 2 tan 7°
    slopes = np.array([[0.0, 2 * tan(radians(each))] for each in (0.0, 2.5, 3.5, 6.5, 7.5)])
    seen, _ = factors(face, slopes)
    assert_array_equal(seen > 0.5, [False, False, True, True, False])


def test_a_hole_shines_in_light_from_behind(tmp_path: Path) -> None:
    """An image of transmittance stands for each pixel's own; it must have the target's pixels."""
    shares = np.zeros((60, 240), np.uint8)
    shares[25:35, 110:130] = 255
    iio.imwrite(tmp_path / "through.png", shares)
    texts = {**BASE, "target": {**BASE["target"], "transmittance": "through.png"}}
    lamp = {key.removeprefix("light."): value for key, value in BACK.items() if "light" in key}
    texts["light"] = {**lamp, "irradiance": "30 W/m^2"}
    setup = setup_from(texts, tmp_path)
    seen = lit_reference(setup, target_reference(setup)).rows(0, 60)
    assert_allclose(seen, shares / 255 / 0.8, rtol=1e-6)
    iio.imwrite(tmp_path / "through.png", shares[:50])
    with pytest.raises(InputError, match="read 240 x 50 pixels, but the target has 240 x 60"):
        scan(setup)


def test_an_image_of_gloss_mixes_two_finishes(tmp_path: Path) -> None:
    """Each pixel mirrors as a face of its own gloss does: Schlick's law is linear in it."""
    shares = np.zeros((60, 240), np.uint8)
    shares[:, 120:] = 102
    iio.imwrite(tmp_path / "gloss.png", shares)
    lamp = {key.removeprefix("light."): value for key, value in LAMP.items()}
    target = {**BASE["target"], "gloss": "gloss.png", "rms_slope": 0.05}
    texts = {**BASE, "target": target, "light": {**lamp, "irradiance": "30 W/m^2"}}
    setup = setup_from({**texts, "camera": {**BASE["camera"], "angle": "20 deg"}}, tmp_path)
    seen = lit_reference(setup, target_reference(setup)).rows(0, 1)[0]
    for gloss, columns in ((1e-9, seen[:120]), (0.4, seen[120:])):
        alike = changed(setup, {"target.gloss": gloss})
        assert_allclose(columns, factor(alike) / 0.8, rtol=2e-5)


VARYING: Changes = {
    **LAMP,
    **GLOSS,
    "lens.magnification": None,
    "lens.field_of_view": "0.4 m",
    "lens.focal_length": "2 mm",
    "target.pixel_size": "1 mm",
    "target.width": "400 mm",
    "target.height": "80 mm",
    "light.lamp_length": "0.3 m",
}


def test_a_wide_lens_and_a_short_lamp_leave_dark_ends() -> None:
    """Where the mirrored ray misses the lamp's end the gloss is gone: hot middle, dark ends."""
    setup = changed(PLAIN, VARYING)
    signal = budget(setup)["signal"]
    picture = scan(setup).expected_e.mean(axis=0)
    middle, end = picture[63:65].mean(), picture[-1]
    assert float(signal["electrons_product"]) == pytest.approx(middle, rel=2e-3)
    # the outermost pixel is a mean over 3 mm, where the light falls steeply
    assert float(signal["electrons_product_ends"]) == pytest.approx(end, rel=0.02)
    assert end < 0.1 * middle
    # the ray from x meets the lamp at x (1 + d/D): half of the lobe beyond its end at 150 mm
    reach_mm = setup.working_distance_mm
    edge_mm = 150 / (1 + 150 / reach_mm)
    half = np.interp(edge_mm, (np.arange(64) + 0.5) * 3.125, picture[64:])
    assert 0.3 < half / middle < 0.7


def test_relief_is_lit_along_the_line_as_its_slopes_are(tmp_path: Path) -> None:
    """Tables between places along the line err by under 1 % of the brightest."""
    waves = np.sin(np.arange(400) / 7)[None] + np.cos(np.arange(24) / 5)[:, None]
    iio.imwrite(tmp_path / "waves.png", np.uint16(65535 * (waves + 2) / 4))
    setup = changed(PLAIN, {**VARYING, "target.rms_slope": 0.12, "target.height": "24 mm"})
    texts = {name: dict(part) for name, part in setup.texts.items() if name != "title"}
    texts["target"] |= {"relief": "waves.png", "relief_range": "1.5 mm"}
    setup = setup_from({**texts, "title": "Waves"}, tmp_path)
    seen = lit_reference(setup, target_reference(setup)).rows(0, 24)
    height_mm = np.float64(iio.imread(tmp_path / "waves.png")) / 65535 * 1.5
    slopes = -np.stack(np.gradient(height_mm)[::-1], axis=-1)[2:-2:4, 2:-2:3]
    place_mm = np.broadcast_to(np.arange(400) + 0.5 - 200, (24, 400))[2:-2:4, 2:-2:3]
    face = face_of(setup)
    assert face is not None
    matt, gloss = factors(face, slopes.reshape(-1, 2), place_mm.ravel())
    expected = (matt + gloss / 0.8).reshape(slopes.shape[:2])
    assert_allclose(seen[2:-2:4, 2:-2:3], expected, rtol=0, atol=0.01 * expected.max())


def test_an_old_lamp_is_judged_too() -> None:
    """SNR holds at the end of the lamp's service, as with that share of the light; clipping new."""
    asked = {"requirement.snr": 20, "light.maintenance_factor": 0.6}
    aged = {each.requirement: each for each in budget(changed(PLAIN, asked)).verdicts}
    dim = changed(PLAIN, {"requirement.snr": 20, "light.irradiance": "18 W/m^2"})
    alike = {each.requirement: each for each in budget(dim).verdicts}
    assert aged["snr"].got == pytest.approx(alike["snr"].got, rel=1e-12)
    assert aged["snr"].where == "aged"
    new = {each.requirement: each for each in budget(PLAIN).verdicts}
    assert aged["clipping"].got == new["clipping"].got
    ends = changed(PLAIN, {**asked, "light.edge_falloff": 0.2})
    assert {each.where for each in budget(ends).verdicts if each.requirement == "snr"} == {
        "aged ends"
    }
