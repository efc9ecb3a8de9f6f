"""A fault that is off changes no byte; a camera of any kind gives any workers the same bytes."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

BASE = plain_setup(
    "Off",
    target={"pixel_size": "25 um", "repeat": True},
    lens={"magnification": 0.097},
    light={"illuminance": "100 klx"},
    camera={"pixels": 70, "prnu": 0.01, "dsnu": "4 e"},
)
COLOUR = changed(BASE, {"camera.kind": "three-line", "camera.line_spacing": "33 um"})
TARGET = ArrayReference(
    data=np.random.default_rng(6).random((500, 300, 3)).astype(np.float32), pixel_size_um=25.0
)
Way = dict[str, object]
LENS: Way = {"lens.focal_length": "60 mm"}
ENCODER: Way = {"transport.trigger": "encoder", "transport.encoder_step": "77.3 um"}

# what stands by itself, and the same with other keys of a fault whose size is 0
OFF: dict[str, tuple[Way, Way]] = {
    "ripple": ({}, {"transport.speed_ripple": 0, "transport.ripple_frequency": "333 Hz"}),
    "jitter": ({}, {"transport.line_jitter": "0 mm"}),
    "turn": (ENCODER,
     {"transport.encoder_turn_error": "0 um", "transport.encoder_turn_length": "9 mm"}),
    "skew": ({}, {"transport.skew": "0 deg"}),
    "wander": ({},
     {"transport.lateral_wander": "0 um", "transport.lateral_wander_frequency": "90 Hz"}),
    "flutter": (LENS, {"transport.flutter": "0 mm", "transport.flutter_frequency": "90 Hz"}),
    "flicker": ({}, {"light.flicker": 0, "light.flicker_frequency": "90 Hz"}),
    "ambient": ({}, {"light.ambient": "0 W/m^2"}),
    "falloff": ({}, {"light.edge_falloff": 0}),
    "assumed": ({}, {"transport.assumed_speed": "60 m/min"}),
    "stages": ({}, {"camera.tdi_stages": 1}),
    "rows": ({}, {"camera.rows": 4}),
    "heights": ({}, {"camera.row_heights": ["7.5 um", "9 um"]}),
    "lines": ({}, {"acquisition.binning_along": "lines", "acquisition.binning_domain": "digital"}),
    "average": ({},
     {"acquisition.binning_domain": "digital", "acquisition.binning_mode": "average"}),
    "correction": ({}, {"acquisition.flat_field": False, "acquisition.flat_field_lines": 9}),
    "balance": ({}, {"acquisition.white_balance": "grey-card"}),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(OFF))
def test_what_is_off_changes_no_byte(name: str) -> None:
    """The other keys of a fault of size 0 say nothing; a mono camera has nothing to balance."""
    needed, off = OFF[name]
    plain = changed(BASE, needed)
    one, other = (render(each, TARGET, 70, 2) for each in (plain, changed(plain, off)))
    assert_array_equal(other.image, one.image)
    assert_array_equal(other.expected_e, one.expected_e)


@pytest.mark.parametrize("way", ["whole-lines", "fractional", "none"])
def test_rows_at_no_distance_are_a_prism(way: str) -> None:
    """Three lines 0 um apart see what a prism of the same light shows, whatever is undone."""
    setup = changed(COLOUR, {"camera.line_spacing": "0 um", "acquisition.colour_alignment": way})
    one = render(changed(BASE, {"camera.kind": "prism"}), TARGET, 70, 2)
    assert_array_equal(render(setup, TARGET, 70, 2).image, one.image)


SKEW: Way = {"transport.skew": "1 deg"}
FLUTTER: Way = {
    **LENS,
    "transport.flutter": "3 mm",
    "transport.flutter_frequency": "90 Hz",
    "light.flicker": 0.1,
}
WANDER: Way = {"transport.lateral_wander": "90 um", "transport.lateral_wander_frequency": "70 Hz"}
JITTER: Way = {"transport.line_jitter": "5 um", "transport.speed_ripple": 0.02}
LINES: Way = {
    "acquisition.binning": "2x3",
    "acquisition.binning_domain": "digital",
    "acquisition.binning_along": "lines",
    "acquisition.binning_mode": "average",
}
KINDS: dict[str, tuple[Setup, Way]] = {
    "mono, skewed, wandering": (BASE, {**SKEW, **WANDER, **JITTER}),
    "mono, fluttering, corrected": (BASE, {**FLUTTER, "acquisition.flat_field": True}),
    "stages": (BASE, {"camera.tdi_stages": 8, **SKEW, **JITTER, **ENCODER}),
    "numbers of rows": (BASE, {**LINES, "acquisition.binning_along": "rows", **JITTER}),
    "numbers of lines": (BASE, {**LINES, **JITTER}),
    "three lines": (COLOUR, {**SKEW, **JITTER, "acquisition.colour_alignment": "fractional"}),
    "prism": (BASE, {"camera.kind": "prism", "acquisition.white_balance": "grey-card", **WANDER}),
}


@pytest.mark.parametrize("name", sorted(KINDS))
def test_workers_change_no_byte(name: str) -> None:
    """One thread and three; and whole strips of a scan are those of a longer one."""
    base, way = KINDS[name]
    setup = changed(base, way)
    one, other = (render(setup, TARGET, 150, 3, workers=workers) for workers in (1, 3))
    assert_array_equal(other.image, one.image)
    assert_array_equal(other.expected_e, one.expected_e)
    short = render(setup, TARGET, 128, 3)
    assert_array_equal(short.image, one.image[:128])
