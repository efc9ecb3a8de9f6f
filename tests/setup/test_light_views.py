"""Lights that shine in turn: the station of each picture, what it is judged by, what is refused."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest

import linesim
from linesim.dataset.plan.plan_file import plan_from
from linesim.figures.budget import Budget, budget
from linesim.preview.serve import run
from linesim.setup.errors import InputError
from linesim.setup.lights import light_views
from linesim.setup.load import changed, setup_from
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.measure.detection.study import inject
from linesim.studies.rank.space import space_from
from tests.stations import plain_texts

Changes = dict[str, Any]
PLAIN: Changes = plain_texts(
    "Two",
    target={"pixel_size": "25 um", "height": "4 mm"},
    light={"irradiance": "60 W/m^2", "illuminance": None},
    camera={"pixels": 32},
    acquisition={"lines": 8},
    requirement={"smallest_defect": "300 um"},
)
SECOND: Changes = {
    "light_2.irradiance": "30 W/m^2",
    "light_2.arrangement": "line",
    "light_2.angle": "40 deg",
    "light_2.angular_width": "10 deg",
}
TWO = changed(setup_from(PLAIN), {**SECOND, "light.multiplexed": True})
TURNS = "light.multiplexed: read true, so that each light gives a picture of its own"


def states(found: Budget) -> dict[str, str]:
    """Give the state of each verdict."""
    return {each.requirement: each.state for each in found.verdicts}


def second(changes: Changes) -> Budget:
    """Give the budget of the second picture."""
    return budget(light_views(changed(TWO, changes))[1][1])


def test_each_light_stands_alone_with_what_is_said_for_all() -> None:
    """A view has the keys of its own lamp, and the first light's for all."""
    shared = {
        "light.spectrum": "D65",
        "light.ambient": "2 W/m^2",
        "light.flicker": 0.1,
        "light.maintenance_factor": 0.7,
        "light.pulse": "5 us",
        "light.angle": "10 deg",
        "light.arrangement": "line",
        "light.lamp_width": "30 mm",
        "light.lamp_distance": "150 mm",
    }
    (first, one), (other, two) = light_views(changed(TWO, shared))
    assert (first, other) == ("light-1", "light-2")
    assert one.title == "Two: light 1 of 2"
    assert len(one.lights) == len(two.lights) == 1
    assert (one.irradiance_w_m2, two.irradiance_w_m2) == (60.0, 30.0)
    assert (two.light.angle_deg, two.light.lamp_width_mm) == (40.0, None)
    for key in ("spectrum", "ambient", "flicker", "maintenance_factor", "pulse_us"):
        assert getattr(two.light, key) == getattr(one.light, key)


def test_a_view_written_to_a_file_is_the_same_station() -> None:
    """What a scan leaves as setup.toml loads to the view."""
    for _, view in light_views(TWO):
        assert setup_from(tomllib.loads(resolved_text(view, Path()))) == view


@pytest.mark.parametrize(
    ("changes", "rate_hz", "exposure_us"),
    [
        ({}, 1e6 / 75, 75 / 2 - 2),
        ({"acquisition.line_rate": "20 kHz"}, 10e3, 48.0),
        ({"acquisition.line_rate": "20 kHz", "acquisition.exposure": "31 us"}, 10e3, 31.0),
        (
            {
                "transport.trigger": "encoder",
                "transport.encoder_step": "5 um",
                "transport.speed_ripple": 0.25,
            },
            12500.0,  # 8 counts of 5 um are nearest to half of 75 um
            80 / 1.25 / 2 - 2,
        ),
    ],
)
def test_the_camera_exposes_twice_as_fast_as_a_picture_has_lines(
    changes: Changes, rate_hz: float, exposure_us: float
) -> None:
    """Rate in Hz is of all lines; "full" is half a period at peak less the dead time (derived)."""
    found = second({"camera.dead_time": "2 us", **changes})
    assert found.number("geometry", "line_rate_hz") == pytest.approx(rate_hz, rel=1e-12)
    assert found.number("exposure", "exposure_us") == pytest.approx(exposure_us, rel=1e-12)


@pytest.mark.parametrize(("exposure_us", "state"), [(47.9, "met"), (48.1, "cannot run")])
def test_an_exposure_must_fit_a_turn(exposure_us: float, state: str) -> None:
    """At 20 kHz of all lines and 2 us of dead time at most 48 us can be exposed (derived)."""
    rate = {"acquisition.line_rate": "20 kHz", "camera.dead_time": "2 us"}
    found = second({**rate, "acquisition.exposure": f"{exposure_us} us"})
    assert states(found)["exposure"] == state
    cautions = {each.code: each.text for each in found.cautions}
    assert ("exposure_over_period" in cautions) == (state == "cannot run")
    assert "(1/2 of the period less dead time)" in cautions.get(
        "exposure_over_period", "(1/2 of the period less dead time)"
    )


@pytest.mark.parametrize(
    ("key", "enough", "few", "requirement"),
    [
        # 32 samples of two bytes in each of 20 000 lines are 1.28 MB/s
        ("camera.max_line_rate", "20.1 kHz", "19.9 kHz", "line_rate"),
        ("camera.link", "1.29 MB/s", "1.27 MB/s", "link"),
        ("light.max_pulse_rate", "10.1 kHz", "9.9 kHz", "pulse_rate"),
    ],
)
def test_camera_and_link_carry_all_pictures_and_a_lamp_its_own(
    key: str, enough: str, few: str, requirement: str
) -> None:
    """At 20 kHz the camera exposes 20 kHz and each of two lamps flashes at 10 kHz (derived)."""
    rate = {"acquisition.line_rate": "20 kHz", "light.pulse": "5 us"}
    assert states(second({**rate, key: enough}))[requirement] == "met"
    assert states(second({**rate, key: few}))[requirement] == "cannot run"


def test_the_fastest_speed_is_that_of_all_lines() -> None:
    """A camera of 20 kHz under two lights has 10 kHz a picture: 0.75 m/s at 75 um (derived)."""
    found = second({"camera.max_line_rate": "20 kHz"})
    assert found.number("geometry", "max_speed_mm_s") == pytest.approx(750.0, rel=1e-12)


def test_a_view_keeps_its_turn_when_it_is_changed() -> None:
    """A view at half the speed still leaves half of the longer period to the other light."""
    slow = changed(light_views(TWO)[1][1], {"transport.speed": "30 m/min"})
    assert budget(slow).number("exposure", "exposure_us") == pytest.approx(75.0, rel=1e-12)


def test_front_and_back_may_share_an_image_of_what_is_let_through(tmp_path: Path) -> None:
    """In turn, light from behind meets that image, and light from the front the other."""
    iio.imwrite(tmp_path / "through.png", np.full((160, 96), 255, dtype=np.uint8))
    back = {
        "light_2": {
            "irradiance": "30 W/m^2",
            "arrangement": "back",
            "angle": "0 deg",
            "angular_width": "20 deg",
        }
    }
    target = {"image": "flat", "pixel_size": "25 um", "height": "4 mm", "width": "2.4 mm"}
    texts = {**PLAIN, **back, "target": {**target, "transmittance": "through.png"}}
    with pytest.raises(InputError, match="light comes from the front too"):
        setup_from(texts, tmp_path)
    texts["light"] = {**PLAIN["light"], "multiplexed": True}
    front, behind = (budget(view) for _, view in light_views(setup_from(texts, tmp_path)))
    assert "radiance_factor" not in front["signal"]
    assert behind.number("signal", "radiance_factor") == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"light.multiplexed": True}, "light.multiplexed: read true, but there is one light"),
        (
            {**SECOND, "light.multiplexed": True, "light.turn": "1 of 2"},
            'light.turn: read "1 of 2"',
        ),
        (
            {**SECOND, "light.multiplexed": True, "camera.tdi_stages": 4},
            "light.multiplexed: read true, but each of the 4 camera.tdi_stages",
        ),
        ({"light.turn": "1 of 2", "camera.tdi_stages": 4}, 'light.turn: read "1 of 2", but each'),
        ({"light.turn": "3 of 2"}, 'light.turn: read "3 of 2", but this is no number of a light'),
        ({"light.multiplexed": "yes"}, 'light.multiplexed: read "yes"'),
        ({"acquisition.trigger_delay": "-1 us"}, 'acquisition.trigger_delay: read "-1 us"'),
    ],
)
def test_what_cannot_shine_in_turn_is_refused(changes: Changes, told: str) -> None:
    """One sentence with the key, what was read, and what is expected."""
    with pytest.raises(InputError) as refusal:
        changed(setup_from(PLAIN), changes)
    (sentence,) = refusal.value.faults
    assert told in sentence
    assert "expected" in sentence or "leave it out" in sentence


def test_lights_that_shine_at_once_have_no_views() -> None:
    """Views are asked for by the flag alone."""
    with pytest.raises(InputError, match="expected multiplexed = true"):
        light_views(changed(TWO, {"light.multiplexed": None}))


ONE_PICTURE: dict[str, Callable[[Setup], object]] = {
    "budget": linesim.budget,
    "scan": linesim.scan,
    "scan_to_file": lambda setup: linesim.scan_to_file(setup, Path("never.tif")),
    "compare": lambda setup: linesim.compare(setup, ["1x1", "2x2"]),
    "compare keys": lambda setup: linesim.compare(setup, ["lens.f_number=2.8"]),
    "vary": lambda setup: linesim.vary(setup, {"lens.f_number": "2.8,4"}),
    "detection": lambda setup: inject(setup, 4, 0),
    "preview": lambda setup: run(setup, "two.toml", 0, lambda _address: None),
}


@pytest.mark.parametrize("name", ONE_PICTURE)
def test_what_works_out_one_picture_refuses_several(name: str) -> None:
    """One sentence says which stations there are instead."""
    with pytest.raises(InputError, match=TURNS) as refusal:
        ONE_PICTURE[name](TWO)
    assert "linesim.light_views(setup)" in str(refusal.value)


def _ranked(folder: Path) -> object:
    options = {"setup": "two.toml", "options": {"lens": {"f_number": [2.8, 4.0]}}}
    return linesim.rank(space_from(options, folder))


def _planned(folder: Path) -> object:
    return plan_from({"setup": "two.toml"}, folder)


@pytest.mark.parametrize("made", [_ranked, _planned])
def test_a_space_or_plan_of_such_a_station_is_refused(
    made: Callable[[Path], object], tmp_path: Path
) -> None:
    """A file that names a station of several pictures is refused too."""
    (tmp_path / "two.toml").write_text(resolved_text(TWO, tmp_path), "utf-8")
    with pytest.raises(InputError, match=TURNS):
        made(tmp_path)


def test_lamps_that_take_turns_are_told_to_make_rollers_seem_still() -> None:
    """They go on and off with the lines, pulsed or not: the caution of light that swings."""
    alone = setup_from(PLAIN)
    assert "stroboscopic" not in {each.code for each in budget(alone).cautions}
    assert "stroboscopic" in {each.code for each in second({}).cautions}
