"""The random stations of the property tests leave no key out by mistake."""

import os
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from linesim.setup.load import known_keys
from linesim.setup.surface import FACE, LAMP_KEYS

NIGHTLY = "LINESIM_NIGHTLY" in os.environ
Texts = dict[str, dict[str, Any]]
TABLES = [name for name in known_keys(()) if name != "title" and name[-1] not in "234"]
NOT_RANDOM = {
    "target.width": "a flat target has no sides worth changing",
    "target.height": "as the width",
    "target.angle": "of an edge alone",
    "target.contrast": "as the angle",
    "target.encoding": "of image files",
    "target.max_pixels": "a guard against large images",
    "target.repeat": "a flat target looks the same when it is repeated",
    "lens.field_of_view": "another way to give the magnification",
    "lens.working_distance": "another way to give the magnification",
    **dict.fromkeys(
     ("lens.blur_across", "lens.blur_along", "lens.relative_illumination", "lens.distortion",
      "lens.axial_colour", "lens.lateral_colour", "camera.registration"),
     "held against the picture in tests/forward/sampling"),
    "transport.slowest_speed": "of verdicts alone, held in tests/figures/test_two_speeds.py",
    "light.illuminance": "another way to give the irradiance",
    "camera.rows": "how many rows there are says what may be joined, and the binning is drawn",
    "camera.gain": "left out, it puts the full well at full scale, which the other draws rely on",
    "camera.read_noise": "chosen in DN by the tests that hold a picture against figures",
    **dict.fromkeys(("camera.dynamic_range", "camera.dynamic_range_1288", "camera.responsivity"),
     "other ways to give the read noise and the quantum efficiency"),
    "camera.pixel_format": "of the link alone",
    "camera.black_level": "as the read noise",
    "camera.max_line_rate": "a limit that changes no number",
    "camera.link": "as the line rate",
    "acquisition.lines": "chosen by the tests, so that they stay quick",
    "acquisition.length": "as the lines",
    "requirement.defect_length": "drawn by the shape: a scratch is ten times as long",
    **dict.fromkeys(
     (*(f"target.{key}" for key in FACE), *(f"light.{key}" for key in LAMP_KEYS), "camera.angle"),
     "of faces that mirror or lean, held against the picture in tests/targets/test_faced.py"),
    **dict.fromkeys(
     ("camera.line_noise", "camera.crosstalk", "camera.linearity_error", "camera.lag",
      "camera.charge_transfer_inefficiency", "camera.taps", "camera.column_waves"),
     "faults of the sensor, held against the picture in tests/forward/sensor"),
    "lens.pupil_magnification": "held against a traced lens in tests/outside/test_optics.py",
    "transport.encoder_missed_counts": "held by tests/forward/motion/test_lost_counts.py",
    "light.maintenance_factor": "of verdicts alone",
    "light.height_band": "held against the picture in tests/figures/test_pulse.py",
    "light.pulse": "held against the picture in tests/figures/test_pulse.py",
    "light.multiplexed": "no station, but several: tests/setup/test_light_views.py",
    "light.turn": "held against the picture in tests/studies/scan/test_turns.py",
    "acquisition.trigger_delay": "as the turn",
    "light.max_pulse_rate": "a limit that changes no number",
    "requirement.defect_relief": "held against the picture in tests/studies/measure",
    "requirement.texture": "held against the picture in tests/studies/measure",
}  # fmt: skip


def test_every_key_is_drawn_in_random_stations(any_station: st.SearchStrategy[Texts]) -> None:
    """Each key is among those of the random stations, or is exempt for a reason."""
    seen: set[str] = set()

    @settings(max_examples=200 if NIGHTLY else 80)
    @given(any_station)
    def look(texts: Texts) -> None:
        seen.update(f"{table}.{key}" for table in TABLES for key in texts.get(table, {}))

    look()
    keys = {f"{table}.{key}" for table in TABLES for key in known_keys((table,))}
    assert sorted(keys - seen) == sorted(NOT_RANDOM)
