"""A setup written out again: equal, stable, and at home in any folder."""

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest

from linesim.setup.infiles import starter_text
from linesim.setup.load import changed, load_setup, setup_from
from linesim.setup.model import Sections
from linesim.setup.resolve import resolved_text
from linesim.setup.vocabulary import Section


def _starter() -> dict[str, Any]:
    return tomllib.loads(starter_text())


def _models() -> Iterator[tuple[str, type[Section]]]:
    for name, field in Sections.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, Section):
            yield name, field.annotation


@pytest.fixture
def station(tmp_path: Path) -> Path:
    """Give a setup with an image file, an efficiency curve and a spectrum, each in a folder."""
    home = tmp_path / "line 2"
    (home / "files").mkdir(parents=True)
    image = np.full((20, 30), 40_000, dtype=np.uint16)
    (home / "files" / "piece.png").write_bytes(imagecodecs.png_encode(image))
    (home / "files" / "qe.csv").write_text("nm,qe\n400,0.5\n500,0.7\n800,0.2\n", "utf-8")
    (home / "lamp.csv").write_text("nm;power\n450;0\n480;3\n600;1\n", "utf-8")
    text = f"""
        title = "Lane 2 µ"
        [target]
        image = "{(home / "files" / "piece.png").as_posix()}"
        pixel_size = "20 um"
        [transport]
        speed = "200 ft/min"
        [lens]
        field_of_view = "30 mm"
        [light]
        irradiance = "120 W/m²"
        spectrum = "lamp.csv"
        [camera]
        pixels = 400
        pixel_width = "7.5 um"
        quantum_efficiency = "files/qe.csv"
        black_level = 40
        [acquisition]
        lines = 12
    """
    (home / "setup.toml").write_text(text, "utf-8")
    return home / "setup.toml"


def test_resolved_setup_is_equal_from_another_folder(station: Path, tmp_path: Path) -> None:
    """Written into another folder, the setup loads there to an equal one, files and all."""
    first = load_setup(station)
    other = tmp_path / "runs" / "monday"
    other.mkdir(parents=True)
    (other / "setup.toml").write_text(resolved_text(first, other), "utf-8")
    again = load_setup(other / "setup.toml")
    assert again == first
    assert hash(again) == hash(first)
    assert again.folder != first.folder


def test_resolved_text_is_stable(station: Path, tmp_path: Path) -> None:
    """Resolving what was resolved gives the same bytes."""
    other = tmp_path / "runs"
    other.mkdir()
    text = resolved_text(load_setup(station), other)
    (other / "setup.toml").write_text(text, "utf-8")
    assert resolved_text(load_setup(other / "setup.toml"), other) == text


def test_resolved_text_holds_no_absolute_path(station: Path, tmp_path: Path) -> None:
    """An absolute name is rewritten too, so that the folders can move together."""
    text = resolved_text(load_setup(station), tmp_path / "runs")
    names = tomllib.loads(text)
    assert str(tmp_path) not in text
    assert names["target"]["image"] == "../line 2/files/piece.png"
    assert names["light"]["spectrum"] == "../line 2/lamp.csv"
    assert names["camera"]["quantum_efficiency"] == "../line 2/files/qe.csv"


def test_resolved_text_keeps_what_was_written_and_adds_the_defaults() -> None:
    """Units stay the user's own; every key with a default is there."""
    texts = _starter()
    texts["transport"]["speed"] = "200 ft/min"
    texts["light"]["spectrum"] = {"peak": "520 nm", "width": "30 nm"}
    assert tomllib.loads(resolved_text(setup_from(texts), Path())) == texts


def test_resolved_text_is_in_the_order_of_the_model() -> None:
    """Required keys do not trail behind the defaults."""
    named = tomllib.loads(resolved_text(setup_from(_starter()), Path()))
    for name, model in _models():
        order = [field.alias or key for key, field in model.model_fields.items()]
        assert list(named[name]) == [key for key in order if key in named[name]]


def test_another_file_is_another_setup(station: Path) -> None:
    """Two setups that differ in the image file alone are not equal."""
    other = station.parent / "files" / "other.png"
    other.write_bytes((station.parent / "files" / "piece.png").read_bytes())
    first = load_setup(station)
    assert changed(first, {"target.image": str(other)}) != first
