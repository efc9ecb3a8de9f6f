"""Figures of a data sheet on their way: told again, written out, varied, and met by the budget."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.report.table import budget_text
from linesim.setup.load import changed, load_setup, sample_setup, setup_from
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.batch.along import along
from linesim.studies.batch.axis_texts import axes_of
from linesim.studies.batch.figures import figures_of
from linesim.studies.batch.ranges import ranges_of
from linesim.studies.batch.space import Space

SHEET: Mapping[str, Any] = {
    "target.pixel_size": "600 dpi",
    "lens.transmission": "T 4.4",
    "light.edge_falloff": "10 %",
    "camera.saturation_capacity": "30 ke",
    "camera.gain": "9.8 e/DN",
    "camera.dynamic_range": "66 dB",
    "camera.dsnu_1288": "0.5 DN",
    "camera.prnu_1288": "1 %",
    "camera.responsivity": {"value": "60 DN/(nJ/cm^2)", "wavelength": "550 nm"},
    "camera.pixel_format": "Mono12p",
    "camera.link": "5 Gb/s",
    "requirement.snr": "30 dB",
}
"""A camera of ours, all of it as a sheet may have it."""


def of_sheet(changes: Mapping[str, Any] = SHEET) -> Setup:
    """Give the sample with figures of a data sheet."""
    return changed(sample_setup(), changes)


def test_the_budget_says_what_was_understood() -> None:
    """Each figure that follows is named with what it was taken from, on the console and in JSON."""
    setup = of_sheet()
    found = budget(setup)
    text = budget_text(setup, found)
    assert "\ntaken from the data sheet\n" in text
    for words in (
        "42.33 um from 600 dpi",
        "0.8264 from T 4.4 at f/4",
        "15.04 e from 66 dB, a full well of 30 ke over read noise",
        "4.9 e from 0.5 DN at a gain of 0.102 DN/e",
        "from 60 DN/(nJ/cm^2) at 550 nm, taken as even over the",
        "0.102 DN/e from 9.8 e/DN",
        "12 bits from Mono12p",
        "31.62 from 30 dB",
    ):
        assert words in text
    told = found.as_dict()["understood"]
    assert isinstance(told, dict)
    assert told["read_noise_e"] == setup.camera.read_noise_e
    assert told["pixel_size_um"] == pytest.approx(25_400 / 600)  # an inch is 25.4 mm


def test_plain_setups_are_told_as_before() -> None:
    """Without such a spelling there is neither block nor group; a per cent alone makes none."""
    for setup in (sample_setup(), of_sheet({"camera.prnu": "1 %"})):
        found = budget(setup)
        assert "understood" not in found.as_dict()
        assert "data sheet" not in budget_text(setup, found)


def test_a_resolved_file_is_the_same_station(tmp_path: Path) -> None:
    """What is written out runs, has each figure as typed and no default beside it."""
    setup = of_sheet()
    text = resolved_text(setup, tmp_path)
    (tmp_path / "setup.toml").write_text(text, "utf-8")
    again = load_setup(tmp_path / "setup.toml")
    assert again == setup
    assert budget(again).as_dict() == budget(setup).as_dict()
    camera = tomllib.loads(text)["camera"]
    assert camera["dynamic_range"] == "66 dB"
    assert not {"read_noise", "quantum_efficiency", "saturation_capacity"} & set(camera)


def test_a_sheet_and_its_figures_by_hand_are_equal() -> None:
    """Setups are equal where their values are, however these were written."""
    by_hand = {
        "target.pixel_size": "25.4 mm",
        "lens.transmission": 0.9,
        "camera.full_well": "20 ke",
        "camera.read_noise": "10 e",
        "camera.gain": "0.25 DN/e",
    }
    as_typed = {
        "target.pixel_size": "1 dpi",
        "lens.transmission": "90 %",
        "camera.saturation_capacity": "20 ke",
        "camera.temporal_dark_noise": "10 e",
        "camera.system_gain": "4 e/DN",
    }
    assert of_sheet(as_typed) == of_sheet(by_hand)


def test_the_budget_gives_the_dynamic_range_of_the_standard_back() -> None:
    """Typed by EMVA 1288 and worked out by its equations 26 and 28, the two meet: 66 dB."""
    setup = of_sheet({"camera.dynamic_range_1288": "66 dB", "camera.full_well": "30 ke"})
    # rounding of float operations
    assert budget(setup).number("camera", "dynamic_range_db") == pytest.approx(66, rel=1e-12)


def test_samples_take_what_their_format_says() -> None:
    """12 bits packed need three quarters of what 12 in 16 do, and the link's verdict follows."""
    packed, open_ = (
        budget(of_sheet({"camera.pixel_format": name, "camera.link": "5 Gb/s"}))
        for name in ("Mono12p", "Mono12")
    )
    rates = [each.number("geometry", "data_rate_mb_s") for each in (packed, open_)]
    assert rates[0] == pytest.approx(0.75 * rates[1], rel=1e-12)
    assert packed.number("limits", "link_share") == pytest.approx(rates[0] / 625, rel=1e-12)
    plain = budget(of_sheet({"camera.link": "5 Gb/s"})).number("geometry", "data_rate_mb_s")
    assert plain == rates[1]


def test_one_a_colour_may_be_a_responsivity() -> None:
    """Each colour has the efficiency of its own figure."""
    each = {"wavelength": "620 nm", "value": "0.3 A/W"}
    colours = {"red": each, "green": {**each, "value": "0.15 A/W"}, "blue": each}
    setup = of_sheet({"camera.kind": "prism", "camera.responsivity": colours})
    red, green, blue = (setup.camera.efficiency(name) for name in ("red", "green", "blue"))
    assert red == blue == pytest.approx(2 * green)
    told = budget(setup).as_dict()["understood"]
    assert told == {"quantum_efficiency": {"red": red, "green": green, "blue": blue}}


def test_a_change_sets_aside_what_it_stands_for() -> None:
    """A read noise takes the place of a dynamic range, and the other way round."""
    setup = of_sheet({"camera.dynamic_range": "60 dB"})
    plain = changed(setup, {"camera.read_noise": "8 e"})
    assert plain == of_sheet({"camera.read_noise": "8 e"})
    assert changed(plain, {"camera.dynamic_range": "60 dB"}) == setup
    assert changed(plain, {"camera.temporal_dark_noise": None}) == sample_setup()


def test_a_files_own_default_is_set_aside() -> None:
    """A file with a dynamic range alone has no read noise that could contradict it."""
    camera = {**sample_setup().texts["camera"], "dynamic_range": "60 dB"}
    del camera["read_noise"]
    setup = setup_from({**sample_setup().texts, "camera": camera})
    assert setup.camera.read_noise_e == pytest.approx(setup.camera.full_well_e / 1000)


RANGES: list[tuple[str, str, list[float]]] = [
    ("camera.prnu", "1 %:3 %:lin3", [0.01, 0.02, 0.03]),
    ("camera.dynamic_range", "60 dB:80 dB:lin2", [60.0, 80.0]),
    ("camera.system_gain", "4 e/DN, 2 e/DN", [0.25, 0.5]),
    ("camera.saturation_capacity", "20 ke, 30 ke", [20e3, 30e3]),
    ("target.pixel_size", "25400 dpi, 12700 dpi", [1.0, 2.0]),
]


@pytest.mark.parametrize(("key", "text", "values"), RANGES)
def test_a_range_takes_what_a_sheet_states(key: str, text: str, values: list[float]) -> None:
    """Ends and lists are read as in a file, and every value can be written out and read back."""
    setup = sample_setup()
    (found,) = ranges_of(setup, {key: text})
    assert found.base_values == pytest.approx(values, rel=1e-12)
    for value in found.base_values:
        changed(setup, {found.key.dotted: found.written(value)})


HUNG: list[tuple[dict[str, Any], dict[str, str]]] = [
    ({"camera.dynamic_range": "60 dB"}, {"camera.full_well": "10 ke:40 ke:lin4"}),
    ({"camera.full_well": "30 ke"}, {"camera.dynamic_range": "50 dB:70 dB:lin4"}),
    ({"camera.read_noise": "3 DN"}, {"camera.full_well": "10 ke:40 ke:lin4"}),
    ({"camera.read_noise": "3 DN"}, {"camera.gain": "0.1 DN/e:0.2 DN/e:lin4"}),
    ({"lens.transmission": "T 8"}, {"lens.f_number": "2:8:lin4"}),
    (
        {"camera.responsivity": {"value": "20 DN/(nJ/cm^2)", "wavelength": "550 nm"}},
        {"camera.full_well": "10 ke:40 ke:lin4"},
    ),
]


@pytest.mark.parametrize(("changes", "texts"), HUNG)
def test_what_hangs_on_a_varied_figure_follows(
    changes: dict[str, Any], texts: dict[str, str]
) -> None:
    """Along a range, each point has the budget of its own setup: nothing is left behind."""
    setup = of_sheet(changes)
    space = along(setup, None, ranges_of(setup, texts))
    names = {"dark_noise_e": "camera", "electrons_white": "signal"}
    found = figures_of(space, np.arange(space.count), names)
    for index in range(space.count):
        own = budget(space.setup(index))
        for name, group in names.items():
            assert found[name][index, 0] == pytest.approx(own.number(group, name), rel=1e-12)


def test_options_of_a_space_may_be_of_a_sheet() -> None:
    """Lists of figures that hang on one another give each option its own."""
    base = sample_setup()
    options = {
        "camera.saturation_capacity": ["20 ke", "40 ke"],
        "camera.dynamic_range": ["60 dB", "2000:1"],
        "camera.gain": ["8 e/DN", "0.2 DN/e"],
    }
    reading = axes_of(options, {}, base)
    assert reading.faults == ()
    space = Space(base=base, axes=reading.axes)
    found = figures_of(space, np.arange(space.count), {"dark_noise_e": "camera"})
    own = [budget(space.setup(k)).number("camera", "dark_noise_e") for k in range(space.count)]
    assert len(set(own)) > 3
    assert found["dark_noise_e"][:, 0] == pytest.approx(own, rel=1e-12)
