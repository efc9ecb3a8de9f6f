"""Values over the field of a lens: how they are read, and what is refused."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator

from linesim.setup.channels import COLOURS
from linesim.setup.errors import InputError
from linesim.setup.lens.over_field import OverField, smooth_curve
from linesim.setup.load import changed, sample_setup


@pytest.mark.parametrize("seed", range(6))
def test_the_curve_is_that_of_another_library(seed: int) -> None:
    """Monotone cubics through any points are SciPy's (`PchipInterpolator`)."""
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(0.1, 2.0, 7))
    y = np.round(rng.normal(size=7), 1)
    at = np.linspace(x[0], x[-1], 301)
    assert_allclose(smooth_curve(x, y, at), PchipInterpolator(x, y)(at), rtol=0, atol=1e-13)


def read(changes: dict[str, Any]) -> OverField:
    """Read one key of the lens over its field."""
    (key,) = changes
    setup = changed(sample_setup(), changes)
    given = getattr(setup.lens, {"lens.blur": "blur_um"}.get(key, "defocus_mm"))
    assert isinstance(given, OverField)
    return given


def test_three_values_are_even_and_five_go_from_end_to_end() -> None:
    """The values stand at the middle, 0.7 and the end; of five the first is that of the left."""
    three = read({"lens.blur": ["1 um", "2 um", "5 um"]})
    places = np.array([-1.0, -0.7, 0.0, 0.7, 1.0])
    assert_allclose(three.at(places, 9.0), [5, 2, 1, 2, 5])
    five = read({"lens.defocus": ["-2 mm", "-1 mm", "0 mm", "0.5 mm", "3 mm"]})
    assert_allclose(five.at(places, 9.0), [-2, -1, 0, 0.5, 3])


def test_a_file_holds_image_heights_in_mm(tmp_path: Path) -> None:
    """From the middle on it is even; the written setup names it from where that lies."""
    (tmp_path / "blur.csv").write_text("height;blur\n0;1\n2;2\n4;6\n", encoding="utf-8")
    found = read({"lens.blur": str(tmp_path / "blur.csv")})
    half_mm = sample_setup().half_line_mm
    assert_allclose(found.at(np.array([-2.0, 0.0, 4.0]) / half_mm, half_mm), [2, 1, 6])


REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "two": ({"lens.blur": ["1 um", "2 um"]}, r"lens\.blur: read \[.*this list has 2 values"),
    "bare": ({"lens.blur": [1, 2, 3]}, r"lens\.blur: read \[.*a bare number has no unit"),
    "middle": ({"lens.relative_illumination": [0.9, 0.8, 0.5]},
     r"lens\.relative_illumination: .*the middle has 0\.9"),
    "short": ({"lens.blur": "short.csv"},
     r"lens\.blur: read .*, which ends at 2 mm of image height, but the line"),
    "twice": ({"lens.blur": "twice.csv"}, r"lens\.blur: .*twice\.csv\" has an image height twice"),
    "late": ({"lens.blur": "late.csv"}, r"lens\.blur: .*starts at 1 mm, without the middle"),
    "outside": ({"lens.distortion": "outside.csv"}, r"lens\.distortion: .*has 3, outside -0\.2 to"),
    "mono": ({"lens.lateral_colour": "2 um"}, r"lens\.lateral_colour: .*a mono camera has one"),
    "no prism": ({"camera.registration": {key: ["1 um", "0 um"] for key in COLOURS}},
     r"camera\.registration: .*only a prism has a sensor a colour"),
    "one length": (
     {"camera.kind": "prism", "camera.registration": {key: ["1 um"] for key in COLOURS}},
     r"camera\.registration\.red: .*no list of two lengths"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_is_refused(name: str, tmp_path: Path) -> None:
    """One sentence: the key, what was read, what is expected."""
    for file, text in {
        "short": "0,1\n2,3\n",
        "twice": "0,1\n1,2\n1,3\n9,9\n",
        "late": "1,1\n9,2\n",
        "outside": "0,0\n20,3\n",
    }.items():
        (tmp_path / f"{file}.csv").write_text(text, encoding="utf-8")
    changes, sentence = REFUSED[name]
    here = {
        key: str(tmp_path / value) if isinstance(value, str) and value.endswith("csv") else value
        for key, value in changes.items()
    }
    with pytest.raises(InputError, match=sentence):
        changed(sample_setup(), here)
