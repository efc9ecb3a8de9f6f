"""Light that comes and goes: a lamp that flashes once a line, and one that is focused."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

BASE = plain_setup(
    "Flash",
    target={"image": "edge", "width": "6 mm", "height": "8 mm"},
    light={"irradiance": "100 W/m^2", "illuminance": None},
    camera={"pixels": 64},
    acquisition={"lines": 80, "exposure": "60 us"},
)
PULSED = changed(BASE, {"light.pulse": "12 us"})


def test_a_flash_is_a_short_exposure() -> None:
    """In the dark otherwise, the electrons are those of an exposure as long as the flash."""
    short = changed(BASE, {"acquisition.exposure": "12 us"})
    assert_allclose(scan(PULSED).expected_e, scan(short).expected_e, rtol=1e-6)
    flash, brief = (budget(each) for each in (PULSED, short))
    for group, name in (("exposure", "motion_blur_um"), ("resolution", "mtf50_y_lp_mm")):
        assert flash[group][name] == pytest.approx(brief[group][name], rel=1e-12)
    assert flash["exposure"]["exposure_us"] == 60.0
    # dark current runs while the shutter is open
    dark = {"camera.dark_current": "1e6 e/s"}
    assert float(budget(changed(PULSED, dark))["signal"]["dark_e"]) == pytest.approx(60.0)


def test_other_light_counts_all_through_the_exposure() -> None:
    """E t of both: 100 W/m² for 12 us and 3 W/m² for 60 us (derived)."""
    lit = changed(PULSED, {"light.ambient": "3 W/m^2"})
    ratio = float(budget(lit)["signal"]["electrons_white"]) / float(
        budget(PULSED)["signal"]["electrons_white"]
    )
    assert ratio == pytest.approx(1 + 3 * 60 / (100 * 12), rel=1e-12)
    # where the lamp is gone at the ends the ambient light stays
    ends = changed(lit, {"light.edge_falloff": 1.0, "target.image": "flat", "camera.pixels": 63})
    image = scan(ends).expected_e.mean(axis=0)
    place = (2 * np.arange(63) + 1) / 63 - 1
    assert_allclose(image / image[31], (1 - place**2 + 0.15) / 1.15, rtol=1e-5)


def test_the_lamp_must_keep_up_with_the_lines() -> None:
    """Lines of 13.3 kHz: a lamp of 20 kHz runs, one of 10 kHz cannot."""
    states = []
    for most in ("20 kHz", "10 kHz"):
        found = {e.requirement: e for e in budget(changed(PULSED, _most(most))).verdicts}
        states.append(found["pulse_rate"].state)
    assert states == ["met", "cannot run"]
    mean = budget(PULSED)["exposure"]["mean_irradiance_w_m2"]
    assert mean == pytest.approx(100 * 12e-6 * 1e6 / 75, rel=1e-9)


def _most(rate: str) -> dict[str, Any]:
    return {"light.max_pulse_rate": rate}


def test_flashes_are_told_to_people() -> None:
    """Slow flashes can be seen; all can make machines seem to stand still."""
    codes = {each.code for each in budget(PULSED).cautions}
    assert "stroboscopic" in codes
    assert "visible_flicker" not in codes
    slow = changed(PULSED, {"transport.speed": "2 mm/s"})
    assert "visible_flicker" in {each.code for each in budget(slow).cautions}
    with pytest.raises(InputError, match="but the lamp shines all the time"):
        changed(BASE, _most("1 kHz"))


def test_flutter_leaves_the_focus_of_a_lamp() -> None:
    """A band of 10 mm and flutter of 5 mm: 80 % of the light at both crests, by Gauss between."""
    moved = {
        "lens.focal_length": "50 mm",
        "transport.flutter": "5 mm",
        "transport.flutter_frequency": "200 Hz",
        "target.image": "flat",
        "light.ambient": "20 W/m^2",
    }
    plain = changed(BASE, {**moved, "acquisition.lines": 67})
    seen = scan(changed(plain, {"light.height_band": "10 mm"})).expected_e
    middle = slice(28, 36)  # where flutter changes the scale least
    ratio = seen[:, middle].mean(axis=1) / scan(plain).expected_e[:, middle].mean(axis=1)
    lit_s = float(station(plain).timing.lit_us) * 1e-6
    # the mean of a sine over the exposure
    middle_s = np.arange(67) * 75e-6 + lit_s / 2
    height_mm = 5 * np.sinc(200 * lit_s) * np.sin(2 * np.pi * 200 * middle_s)
    lamp = 0.8 ** np.square(2 * height_mm / 10)
    assert_allclose(ratio, (100 * lamp + 20) / 120, rtol=2e-6)
    codes = {each.code for each in budget(changed(plain, {"light.height_band": "10 mm"})).cautions}
    assert "height_band" in codes
    deep = budget(changed(plain, {"light.height_band": "40 mm"})).cautions
    assert "height_band" not in {each.code for each in deep}
