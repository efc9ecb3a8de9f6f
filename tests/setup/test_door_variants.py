"""Variants of a setup: checked again, compared by value, frozen; faults that need two keys."""

import tomllib
from dataclasses import FrozenInstanceError
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from linesim.setup.errors import InputError
from linesim.setup.infiles import starter_text
from linesim.setup.load import changed, setup_from
from linesim.setup.resolve import resolved_text


def _starter() -> dict[str, Any]:
    return tomllib.loads(starter_text())


def test_changed_leaves_the_original_alone() -> None:
    """A variant has the new value; the setup it came from has not."""
    setup = setup_from(_starter())
    variant = changed(setup, {"transport.speed": "30 m/min", "title": "Slow"})
    assert (variant.transport.speed_mm_s, variant.title) == (500.0, "Slow")
    assert setup == setup_from(_starter())
    assert setup.texts == setup_from(_starter()).texts
    assert changed(variant, {"transport.speed": "60 m/min", "title": setup.title}) == setup


def test_changed_checks_again() -> None:
    """Faults of single values and of their relations are refused, all in one go."""
    setup = setup_from(_starter())
    wrong = {
        "camera.pixels": 0,
        "lens.zoom": 3,
        "light.spectrum": {"peak": "850 nm", "width": "40 nm"},
        "title.x": 1,
        "nothing.x": 1,
    }
    with pytest.raises(InputError) as refusal:
        changed(setup, wrong)
    keys = sorted(fault.partition(":")[0] for fault in refusal.value.faults)
    assert keys == ["camera.pixels", "lens.zoom", "light.illuminance", "nothing", "title"]


def test_none_takes_a_key_out() -> None:
    """Without the key its default comes back, or the other key of a pair may come in."""
    setup = setup_from(_starter())
    assert changed(changed(setup, {"lens.f_number": 8.0}), {"lens.f_number": None}) == setup
    swapped = changed(setup, {"light.illuminance": None, "light.irradiance": "100 W/m^2"})
    assert (swapped.light.illuminance_lx, swapped.irradiance_w_m2) == (None, 100.0)
    assert changed(setup, {"lens.focal_length": None}) == setup  # not there: nothing to take out
    with pytest.raises(InputError, match=r"camera\.pixels: nothing was read"):
        changed(setup, {"camera.pixels": None})


def test_setups_compare_by_value() -> None:
    """The same station written in other units is the same; hash goes with it."""
    setup = setup_from(_starter())
    same = changed(
        setup, {"transport.speed": "1 m/s", "camera.black_level": 32, "light.spectrum": "led-b3"}
    )
    assert same == setup
    assert hash(same) == hash(setup)
    assert changed(setup, {"transport.speed": "1.0001 m/s"}) != setup
    assert setup != "a text"


def test_setup_does_not_follow_its_source() -> None:
    """Changing the mapping that a setup was made of changes nothing behind the door."""
    texts = _starter()
    texts["light"]["spectrum"] = {"peak": "520 nm", "width": "30 nm"}
    setup = setup_from(texts)
    before = resolved_text(setup, Path())
    texts["light"]["spectrum"]["peak"] = "600 nm"
    texts["camera"]["pixels"] = 1
    assert resolved_text(setup, Path()) == before


def test_nothing_behind_the_door_can_be_assigned() -> None:
    """Setup, sections, spectrum: all frozen."""
    setup: Any = setup_from(_starter())
    with pytest.raises(FrozenInstanceError):
        setup.sections = None
    with pytest.raises(ValidationError, match="frozen"):
        setup.sections.title = "x"
    with pytest.raises(ValidationError, match="frozen"):
        setup.camera.pixels = 3
    with pytest.raises(FrozenInstanceError):
        setup.light.spectrum.name = "x"
    with pytest.raises(ValueError, match="read-only"):
        setup.light.spectrum.weight_per_nm[0] = 1.0


def test_a_faulty_value_hides_no_other_fault() -> None:
    """Relations are judged too where values elsewhere are refused."""
    texts = _starter()
    texts["camera"] |= {"pixels": "many", "black_level": "3000 DN"}
    texts["target"]["image"] = "nowhere.png"
    texts["acquisition"]["binning"] = "1x4"
    texts["transport"] |= {"trigger": "encoder", "flutter": 3}
    with pytest.raises(InputError) as refusal:
        setup_from(texts)
    told = "\n".join(refusal.value.faults)
    for key in (
        "camera.pixels",
        "camera.black_level",
        "target.image",
        "transport.flutter",
        "transport.encoder_step",
    ):
        assert key in told
    assert len(refusal.value.faults) == 5


def test_a_faulty_value_brings_no_fault_of_its_own_making() -> None:
    """A relation with a refused value is not judged: it might be right once that is put right."""
    texts = _starter()
    texts["camera"] |= {"bit_depth": 11, "black_level": "3000 DN"}
    texts["light"]["spectrum"] = "moon"
    texts["transport"] |= {"trigger": "laser", "encoder_step": "20 um"}
    with pytest.raises(InputError) as refusal:
        setup_from(texts)
    keys = sorted(fault.partition(":")[0] for fault in refusal.value.faults)
    assert keys == ["camera.bit_depth", "light.spectrum", "transport.trigger"]
