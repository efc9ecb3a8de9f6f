"""``linesim measure detection``: what it prints and draws."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from linesim.setup.load import load_setup
from linesim.studies.measure.detection.study import inject
from tests.stations import plain_toml

Call = Callable[..., tuple[int, str]]
DIM = plain_toml(
    "Dim",
    light={"illuminance": "3 klx"},
    requirement={"smallest_defect": "200 um", "defect_contrast": 0.05},
)


@pytest.fixture
def dim(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write a dim setup, and work beside it."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "dim.toml"
    path.write_text(DIM, "utf-8")
    return path


def test_json_is_what_was_injected(run: Call, dim: Path) -> None:
    """The figures are those of the Python function, seed and all."""
    code, out = run("measure", "detection", "dim.toml", "--count", "1000", "--seed", "4", "--json")
    told, (found,) = json.loads(out), inject(load_setup(dim), 1000, 4)
    assert code == 0
    assert told["injections"] == len(found.with_defect) >= 1000
    assert told["dprime"] == found.dprime
    assert told["expected_dprime"] == found.closed_dprime
    assert told["roc_area"] == found.roc_area
    assert told["detection_rate"] == found.found_rate
    assert told["expected_detection_rate"] == found.closed_rate


def test_the_curve_is_drawn(run: Call, dim: Path) -> None:
    """A PNG file is left where it was asked for, and named."""
    code, out = run("measure", "detection", dim.name, "--count", "500", "--plot", "roc.png")
    assert code == 0
    assert "discs found" in out
    assert "place known" in out
    assert "wrote roc.png" in out
    with Image.open(dim.parent / "roc.png") as drawn:
        assert min(drawn.size) > 400
