"""
No key is forgotten: each moves the figures, the picture, or both, and so on a device too.

A new key of the model belongs into the table below with a change that can be seen; without a row,
or with one that does not hold, a test here fails.
"""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward.device.render import render_on
from linesim.preview.frame import optical_key
from linesim.setup.errors import InputError
from linesim.setup.load import changed, known_keys, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.study import Scan, scan
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference

Changes = dict[str, Any]
HERE = Path(__file__).parent
MORE = ("light_2", "light_3", "light_4")
"""Further lights: the keys of the first that make a lamp, held in tests/targets/test_lamps.py."""
TABLES = [name for name in known_keys(()) if name not in ("title", *MORE)]
KEYS = ["title", *(f"{table}.{key}" for table in TABLES for key in known_keys((table,)))]

BASE: Changes = {
    "title": "Keys",
    "target": {
        "image": "edge",
        "pixel_size": "25 um",
        "width": "4 mm",
        "height": "4.5 mm",
        "angle": "5 deg",
        "contrast": 4.0,
    },
    "transport": {"speed": "60 m/min"},
    "lens": {"magnification": 0.1},
    "light": {"irradiance": "40 W/m^2"},
    "camera": {"pixels": 48, "pixel_width": "7.5 um", "black_level": "20 DN"},
    "acquisition": {"lines": 48},
    "requirement": {"smallest_defect": "300 um"},
}
STATIONS: dict[str, Changes] = {
    name: {key: None if value == "" else value for key, value in changes.items()}
    for name, changes in tomllib.loads((HERE / "key_stations.toml").read_text("utf-8")).items()
}
"""Stations in which a key can be seen to act."""
ENCODER, TURN, THREE, RIPPLE, NUMBERS, BRIGHT, FLUTTER, WANDER, *_FACES = STATIONS.values()
GLOSS, BRUSHED, STRIP, LAMP, SHEET, BACK, RELIEF, SCRATCH, SENSOR = _FACES
RELIEF["target.relief"] = str((HERE / RELIEF["target.relief"]).resolve())

BOTH = "picture and figures"
DRAWN = "picture: where and what the target is; figures are of white and of the product"
UNEVEN = "picture: the lines are unevenly placed or lit, and figures are those of an even pace"
LATER = "picture: all lines look further on, and figures are the same"
LIMIT = "figures: a limit that is told, which changes no number"
WANTED = "figures: what is asked of the picture"
GUARD = "nothing: it only says what is let in"


class Row(NamedTuple):
    """A change that can be seen, what it reaches, and what else must be changed for that."""

    value: object
    reach: str = BOTH
    where: Changes = {}  # noqa: RUF012 -- never written to


ROWS = {
    "title": Row("Other", "nothing: the name of the job"),
    "target.image": Row("flat", BOTH, {"target.angle": None, "target.contrast": None}),
    "target.pixel_size": Row("20 um", DRAWN),
    "target.width": Row("0.3 mm", DRAWN),
    "target.height": Row("3 mm", DRAWN),
    "target.angle": Row("7 deg", DRAWN),
    "target.contrast": Row(8.0, DRAWN),
    "target.encoding": Row("linear", "nothing: of image files alone, read in tests/targets"),
    "target.max_pixels": Row(10**6, GUARD),
    "target.white_reflectance": Row(0.5),
    "target.gloss": Row(0.3, BOTH, GLOSS),
    "target.rms_slope": Row(0.1, BOTH, {**GLOSS, **STRIP}),
    "target.rms_slope_across": Row(0.1, BOTH, {**BRUSHED, **STRIP}),
    "target.rms_slope_along": Row(0.1, BOTH, {**BRUSHED, **STRIP}),
    "target.relief": Row(RELIEF["target.relief"], BOTH, RELIEF),
    "target.relief_range": Row("5 um", BOTH, {**RELIEF, **STRIP}),
    "target.slope_across": Row("20 deg"),
    "target.slope_along": Row("20 deg"),
    "target.transmittance": Row(0.2, BOTH, BACK),
    "target.haze": Row(0.9, BOTH, BACK),
    "target.repeat": Row(value=True, reach=DRAWN, where={"target.height": "3 mm"}),
    "transport.speed": Row("40 m/min"),
    "transport.assumed_speed": Row("50 m/min"),
    "transport.trigger": Row("encoder", BOTH, {**ENCODER, "transport.encoder_divider": 2}),
    "transport.encoder_step": Row("20 um", BOTH, ENCODER),
    "transport.encoder_divider": Row(2, BOTH, ENCODER),
    "transport.encoder_multiplier": Row(2, BOTH, {**ENCODER, "transport.encoder_divider": 4}),
    "transport.speed_ripple": Row(0.1, BOTH, RIPPLE),
    "transport.ripple_frequency": Row("150 Hz", BOTH, RIPPLE),
    "transport.line_jitter": Row("20 um", UNEVEN),
    "transport.encoder_turn_error": Row("80 um", UNEVEN, TURN),
    "transport.encoder_turn_length": Row("3 mm", UNEVEN, TURN),
    "transport.encoder_missed_counts": Row(0.1, BOTH, ENCODER),
    "transport.skew": Row("1 deg", UNEVEN),
    "transport.lateral_wander": Row("80 um", UNEVEN),
    "transport.lateral_wander_frequency": Row("300 Hz", UNEVEN, WANDER),
    "transport.flutter": Row("5 mm", UNEVEN, {"lens.focal_length": "50 mm"}),
    "transport.flutter_frequency": Row("300 Hz", UNEVEN, FLUTTER),
    "lens.magnification": Row(0.2),
    "lens.field_of_view": Row("5 mm", BOTH, {"lens.magnification": None}),
    "lens.f_number": Row(8.0),
    "lens.pupil_magnification": Row(0.7),
    "lens.transmission": Row(0.5),
    "lens.blur": Row("6 um"),
    "lens.defocus": Row("4 mm"),
    "lens.blur_across": Row("6 um"),
    "lens.blur_along": Row(["3 um", "4 um", "6 um"]),
    "lens.relative_illumination": Row([1.0, 0.9, 0.6]),
    "lens.distortion": Row(-0.05),
    "lens.axial_colour": Row("60 um", BOTH, {"camera.kind": "prism"}),
    "lens.lateral_colour": Row("6 um", BOTH, {"camera.kind": "prism"}),
    "lens.focal_length": Row("10 mm"),
    "light.illuminance": Row("30 klx", BOTH, {"light.irradiance": None}),
    "light.irradiance": Row("60 W/m^2"),
    "light.spectrum": Row("A"),
    "light.arrangement": Row("line", BOTH, {**GLOSS, **STRIP}),
    "light.angle": Row("40 deg", BOTH, {**GLOSS, **STRIP}),
    "light.angular_width": Row("20 deg", BOTH, {**GLOSS, **STRIP}),
    "light.lamp_width": Row("80 mm", BOTH, LAMP),
    "light.lamp_distance": Row("100 mm", BOTH, LAMP),
    "light.lamp_length": Row("3 mm", BOTH, {**LAMP, "light.lamp_distance": "20 mm"}),
    "light.lamp_illuminance": Row("60 klx", BOTH, SHEET),
    "light.lamp_stated_distance": Row("150 mm", BOTH, SHEET),
    "light.maintenance_factor": Row(0.5, "figures: what is left at the end of the lamp's service"),
    "light.pulse": Row("20 us"),
    "light.max_pulse_rate": Row("30 kHz", LIMIT, {"light.pulse": "20 us"}),
    "light.multiplexed": Row(value=False, reach="nothing: true makes stations of it, one a light"),
    "light.turn": Row("2 of 2"),
    "light.height_band": Row("8 mm", UNEVEN, FLUTTER),
    "light.edge_falloff": Row(0.3),
    "light.flicker": Row(0.3, UNEVEN),
    "light.flicker_frequency": Row("700 Hz", UNEVEN, {"light.flicker": 0.3}),
    "light.ambient": Row("8 W/m^2"),
    "camera.kind": Row("prism"),
    "camera.angle": Row("20 deg"),
    "camera.pixels": Row(40),
    "camera.pixel_width": Row("6 um"),
    "camera.pixel_height": Row("9 um"),
    "camera.rows": Row(4, GUARD),
    "camera.row_heights": Row(["6 um", "7.5 um"]),
    "camera.line_spacing": Row("20 um", BOTH, THREE),
    "camera.registration": Row(
        {"red": ["3 um", "2 um"], "green": ["0 um", "0 um"], "blue": ["0 um", "0 um"]},
        BOTH,
        {"camera.kind": "prism"},
    ),
    "camera.light_share": Row(0.5, BOTH, {"camera.kind": "prism"}),
    "camera.quantum_efficiency": Row(0.3),
    "camera.read_noise": Row("30 e"),
    "camera.dark_current": Row("5 Me/s"),
    "camera.full_well": Row("15 ke", BOTH, BRIGHT),
    "camera.binned_full_well": Row("60 ke", BOTH, {**BRIGHT, "acquisition.binning": "2x2"}),
    "camera.dsnu": Row("60 e"),
    "camera.prnu": Row(0.03),
    "camera.pattern_seed": Row(5, "picture: one camera out of many", {"camera.dsnu": "60 e"}),
    "camera.bit_depth": Row(10),
    "camera.gain": Row("0.02 DN/e"),
    "camera.black_level": Row("60 DN"),
    "camera.max_line_rate": Row("20 kHz", LIMIT),
    "camera.dead_time": Row("10 us"),
    "camera.link": Row("100 MB/s", LIMIT),
    "camera.tdi_stages": Row(4),
    **{key: Row(value) for key, value in SENSOR.items()},
    "camera.charge_transfer_inefficiency": Row(0.01, BOTH, {"camera.tdi_stages": 64}),
    "acquisition.line_rate": Row("9 kHz"),
    "acquisition.exposure": Row("40 us"),
    "acquisition.trigger_delay": Row("300 us", LATER),
    "acquisition.binning": Row("2x2"),
    "acquisition.binning_domain": Row("digital", BOTH, {"acquisition.binning": "2x2"}),
    "acquisition.binning_mode": Row("average", BOTH, NUMBERS),
    "acquisition.binning_along": Row("lines", BOTH, NUMBERS),
    "acquisition.row_height": Row("9 um", BOTH, {"camera.row_heights": ["7.5 um", "9 um"]}),
    "acquisition.colour_alignment": Row("none", BOTH, THREE),
    "acquisition.white_balance": Row("grey-card", BOTH, {"camera.kind": "prism"}),
    "acquisition.flat_field": Row(value=True, where={"light.edge_falloff": 0.3}),
    "acquisition.flat_field_lines": Row(4, BOTH, {"acquisition.flat_field": True}),
    "acquisition.lines": Row(40),
    "acquisition.length": Row("3 mm", BOTH, {"acquisition.lines": None}),
    "requirement.smallest_defect": Row("200 um", WANTED),
    "requirement.defect_contrast": Row(0.1, WANTED),
    "requirement.defect_shape": Row("scratch-along", WANTED),
    "requirement.defect_length": Row("900 um", WANTED, SCRATCH),
    "requirement.defect_relief": Row(
        {"kind": "dent", "width": "300 um", "depth": "9 um"},
        WANTED,
        {"requirement.smallest_defect": None},
    ),
    "requirement.detection_rate": Row(0.5, WANTED),
    "requirement.false_alarms_per_m2": Row(1.0, WANTED),
    "requirement.snr": Row(80, WANTED),
    "requirement.product_reflectance": Row(0.4, WANTED),
    "requirement.texture": Row({"rms": 0.05, "correlation": "0.3 mm"}, WANTED),
}
TOGETHER = {
    "target.image": "the shape of an edge does not go with another target",
    "transport.trigger": "what an encoder needs does not go with a clock",
    "light.arrangement": "what a strip needs does not go with light from everywhere",
    "target.relief": "a relief goes with its range",
    "lens.field_of_view": "it takes the place of the magnification",
    "light.illuminance": "it takes the place of the irradiance",
    "acquisition.length": "it takes the place of the lines",
}
"""Keys that go in with what they need; all others are changed alone."""
CARRIED_BY_NUMPY = (
    "transport.skew",
    "transport.lateral_wander",
    "transport.flutter",
    "light.height_band",
    "lens.blur_along",
    "lens.distortion",
)
"""What the torch path refuses; their frequencies go with them."""
SHIFTS = {"light.height_band": "transport.flutter"}
"""What is refused for what it needs."""


@cache
def pair(key: str) -> tuple[Setup, Setup]:
    """Give a station before and after a change of one key."""
    value, _, where = ROWS[key]
    before = setup_from(BASE) if key in TOGETHER else changed(setup_from(BASE), where)
    return before, changed(before, {**where, key: value} if key in TOGETHER else {key: value})


@cache
def scanned(setup: Setup) -> Scan:
    """Scan a station once for all tests."""
    return scan(setup, 3, workers=1)


def differ(one: np.ndarray, other: np.ndarray) -> bool:
    """Tell whether two pictures differ where both have lines."""
    lines = min(len(one), len(other))
    return not np.array_equal(one[:lines], other[:lines])


def test_every_key_has_a_row() -> None:
    """The table is the model's: nothing missing, nothing left over."""
    assert sorted(ROWS) == sorted(KEYS)
    assert all(set(known_keys((name,))) < set(known_keys(("light",))) for name in MORE)


@pytest.mark.parametrize("key", KEYS)
def test_a_key_reaches_picture_and_figures_or_says_why_not(key: str) -> None:
    """A change of the key changes what its row says, and nothing that it does not say."""
    one, other = map(scanned, pair(key))
    reach = ROWS[key].reach
    same_size = one.image.shape == other.image.shape
    seen = not same_size or differ(one.image, other.image)
    told = (one.budget.groups, one.budget.verdicts) != (other.budget.groups, other.budget.verdicts)
    assert (seen, told) == (
        reach == BOTH or reach.startswith("picture:"),
        reach == BOTH or reach.startswith("figures:"),
    )


@pytest.mark.parametrize("key", KEYS)
def test_a_key_reaches_the_page_at_once_or_by_new_electrons(key: str) -> None:
    """Where the page would keep its expected electrons, they are the same bit by bit."""
    one, other = pair(key)
    if optical_key(one, 3) == optical_key(other, 3):
        expected = [scanned(each).expected_e for each in (one, other)]
        lines = min(map(len, expected))
        assert_array_equal(expected[0][:lines], expected[1][:lines])


@pytest.mark.parametrize("key", KEYS)
def test_a_key_reaches_a_device_or_is_refused_there(key: str) -> None:
    """
    On torch the changed station has numpy's electrons, and numbers of the same mean.

    Electrons to 2e-6 of the brightest, the rounding of float32; numbers within 5σ of their mean
    difference, the two draws being independent. What is refused is named.
    """
    pytest.importorskip("torch")
    setup = pair(key)[1]
    found = scanned(setup)
    reference, lines = lit_reference(setup, target_reference(setup)), len(found.image)
    if key.startswith(CARRIED_BY_NUMPY):
        with pytest.raises(InputError, match=SHIFTS.get(key, key.removesuffix("_frequency"))):
            render_on(setup, reference, lines, 3, device="cpu")
        return
    on_it = render_on(setup, reference, lines, 3, device="cpu")
    brightest_e = float(found.expected_e.max())
    assert_allclose(on_it.expected_e, found.expected_e, rtol=0, atol=2e-6 * brightest_e)
    off_dn = on_it.image.numpy().astype(np.float64) - found.image
    assert abs(off_dn.mean()) <= 5 * off_dn.std() / np.sqrt(off_dn.size)
