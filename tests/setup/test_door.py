"""The door: starter file, defaults, and what follows from them."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest

from linesim.setup.errors import InputError
from linesim.setup.fields import Kind
from linesim.setup.infiles import starter_text
from linesim.setup.load import changed, sample_setup, setup_from
from linesim.setup.model import Sections
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.setup.vocabulary import Section
from linesim.targets.catalogue import BUILT_INS

# what only the user can know; all else has a default
REQUIRED = {
    "title": None,
    "target": {"image", "pixel_size"},
    "transport": {"speed"},
    "lens": {"magnification"},
    "light": {"illuminance"},
    "camera": {"pixels", "pixel_width"},
}
# what the starter asks besides, so that it opens with an answer
ASKED = {"smallest_defect", "snr"}
KEY_LINE = re.compile(r"(?:# )?(\w+) = (?:\{.*?\}|\"[^\"]*\"|[^\s#]+)")
OR_KEY = re.compile(r"or: (\w+) = (\"[^\"]*\")")


def _starter() -> dict[str, Any]:
    return tomllib.loads(starter_text())


def _starter_lines() -> Iterator[tuple[str, str, str]]:
    """Give section, key and whole line of each key of the starter file, open or commented out."""
    section = ""
    for line in starter_text().splitlines():
        found = KEY_LINE.match(line)
        if line.startswith("["):
            section = line.strip("[]")
        elif found and section:
            yield section, found[1], line


def _models() -> Iterator[tuple[str, type[Section]]]:
    for name, field in Sections.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, Section):
            yield name, field.annotation


def _kinds() -> Iterator[tuple[str, Kind]]:
    """Give the kind of every key of the model."""
    for name, model in _models():
        for key, field in model.model_fields.items():
            marks = [
                *field.metadata,
                *(
                    each
                    for part in get_args(field.annotation)
                    for each in getattr(part, "__metadata__", ())
                ),
            ]
            (kind,) = [mark for mark in marks if isinstance(mark, Kind)]
            yield f"{name}.{field.alias or key}", kind


KINDS = dict(_kinds())


def test_required_keys_alone_make_the_starter() -> None:
    """A setup of the required keys that asks the same is the starter: the rest are defaults."""
    starter = _starter()
    wanted = {**REQUIRED, "requirement": ASKED}
    texts = {
        name: starter[name] if keys is None else {key: starter[name][key] for key in keys}
        for name, keys in wanted.items()
    }
    assert setup_from(texts) == setup_from(starter)


def test_what_the_starter_asks_is_no_default() -> None:
    """A setup that asks nothing is asked nothing."""
    texts = _starter()
    for key in ASKED:
        del texts["requirement"][key]
    assert not ASKED & set(setup_from(texts).texts["requirement"])


@pytest.mark.parametrize(
    ("section", "key"),
    [(name, key) for name, keys in REQUIRED.items() for key in (sorted(keys or []) or [""])],
)
def test_each_required_key_is_missed(section: str, key: str) -> None:
    """Without one of them the setup is refused, and the key is named."""
    texts = _starter()
    del (texts[section] if key else texts)[key or section]
    named = f"{section}.{key}" if key else section
    with pytest.raises(InputError, match=rf"{re.escape(named)}\b.*nothing was read"):
        setup_from(texts)


def test_starter_marks_every_default() -> None:
    """What the file calls (default) is what may be left out, and nothing else stands open."""
    marked = {(name, key) for name, key, line in _starter_lines() if "# (default)" in line}
    standing = {
        (name, key)
        for name, section in _starter().items()
        if isinstance(section, dict)
        for key in section
    }
    required = {(name, key) for name, keys in REQUIRED.items() for key in keys or ()}
    asked = {("requirement", key) for key in ASKED}
    assert marked == standing - required - asked


def test_starter_shows_every_key_and_no_other() -> None:
    """Each key of the model stands in the starter file, open, commented out, or as an "or:"."""
    shown = {(name, key) for name, key, _ in _starter_lines()}
    shown |= {(name, key) for name, _, line in _starter_lines() for key, _ in OR_KEY.findall(line)}
    model = {tuple(dotted.split(".")) for dotted in KINDS}
    assert shown == model


def test_every_commented_key_of_the_starter_is_valid(tmp_path: Path) -> None:
    """With all comments taken off in front of keys, and one of two choices out, the file loads."""
    text = re.sub(r"(?m)^# (?=\w+ = )", "", starter_text())
    text = text.replace('trigger = "clock"', 'trigger = "encoder"')
    text = text.replace('defect_shape = "disc"', 'defect_shape = "scratch-along"')
    texts = tomllib.loads(text)
    opened = {(name, key) for name, section in texts.items() if name != "title" for key in section}
    assert opened == {(name, key) for name, key, _ in _starter_lines()}
    (tmp_path / "relief.png").write_bytes(b"an image")
    del texts["target"]["rms_slope"]
    # the working distance stands for a magnification
    del texts["lens"]["magnification"]
    # colours apart are of a prism; lag does not go with lights in turn, nor do stages
    texts["camera"]["kind"] = "prism"
    for key in ("line_spacing", "lag", "charge_transfer_inefficiency", "pixel_format"):
        del texts["camera"][key]
    # what stands for read noise and quantum efficiency
    for key in ("dynamic_range", "dynamic_range_1288", "responsivity"):
        del texts["camera"][key]
    # the lamp's own width and sheet stand for two, and a turn for several lights
    for key in ("angular_width", "illuminance", "multiplexed"):
        del texts["light"][key]
    relief = {"defect_relief": texts["requirement"].pop("defect_relief")}
    assert setup_from(texts, tmp_path).transport.trigger == "encoder"
    assert setup_from({**texts, "requirement": relief}, tmp_path).requirement.defect_relief


@pytest.mark.parametrize(
    ("section", "key", "line"), [each for each in _starter_lines() if OR_KEY.search(each[2])]
)
def test_every_other_choice_of_the_starter_is_valid(section: str, key: str, line: str) -> None:
    """What stands after "or:" may take the place of the key in front of it."""
    texts = _starter()
    texts[section].pop(key, None)
    for other, value in OR_KEY.findall(line):
        texts[section][other] = value.strip('"')
        assert setup_from(texts).texts[section][other] == value.strip('"')


@pytest.mark.parametrize("dotted", KINDS)
def test_every_example_of_a_refusal_is_accepted(dotted: str) -> None:
    """The example that a refusal of this key shows would itself be read."""
    kind = KINDS[dotted]
    value = tomllib.loads(f"x = {kind.example}")["x"]
    assert kind.checked(value, Path()) is not None


def test_built_in_names_are_those_of_the_catalogue() -> None:
    """A name that the check lets pass is one that can be drawn, and the other way round."""
    assert sorted(BUILT_IN) == sorted(entry.name for entry in BUILT_INS)


def test_sample_is_a_setup() -> None:
    """The built-in sample loads, and is not the starter."""
    assert sample_setup() == sample_setup()
    assert sample_setup() != setup_from(_starter())


@pytest.mark.parametrize(
    ("changes", "name", "want"),
    [
        ({"lens.magnification": None, "lens.field_of_view": "76.8 mm"}, "magnification", 0.1),
        ({"camera.pixel_height": "15 um"}, "pixel_height_um", 15.0),
        ({}, "pixel_height_um", 7.5),
        ({"acquisition.binning": "2x4"}, "rows_read", 4),
        ({"camera.rows": 3}, "rows_read", 1),
        ({"camera.bit_depth": 8}, "full_scale_dn", 255),
        ({"camera.gain": "0.25 DN/e"}, "gain_dn_e", 0.25),
        ({}, "gain_dn_e", (4095 - 32) / 40_000),
        ({}, "binned_full_well_e", 40_000.0),
        ({"camera.binned_full_well": "80 ke"}, "binned_full_well_e", 80_000.0),
    ],
)
def test_what_is_left_out_follows_from_the_rest(
    changes: dict[str, Any], name: str, want: float
) -> None:
    """Field of view gives the magnification (1024 x 7.5 um / 76.8 mm), full well the gain."""
    setup: Setup = changed(setup_from(_starter()), changes)
    assert getattr(setup, name) == pytest.approx(want, rel=1e-15)
