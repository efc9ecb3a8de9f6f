"""Drawings keep their scale, bars their lengths, and sentences say what the setup has."""

import tomllib
from math import log10
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, fromstring

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.figures.curves import factors_across, factors_along, noise_sources_e
from linesim.figures.plain_numbers import people_number
from linesim.forward.station import station
from linesim.report.geometry_drawing import lines_on_target, rows_of_sensor, sensor_rows
from linesim.report.light_bars import light_bars, noise_bars
from linesim.report.page_parts import Picture
from linesim.report.plots import curve_style
from linesim.report.setup_words import job_in_words
from linesim.setup.load import changed, load_setup, sample_setup
from linesim.setup.setup import Setup

SAMPLES = [
    path
    for path in sorted((Path(__file__).parents[2] / "sample_targets").glob("*.toml"))
    if "target" in tomllib.loads(path.read_text("utf-8"))
]
SVG = "{http://www.w3.org/2000/svg}"
# a length in the drawing is rounded to a hundredth of a unit, and is a difference of two
HUNDREDTH = 0.02
CHANGES: dict[str, dict[str, Any]] = {
    "plain": {},
    "gaps": {"acquisition.line_rate": "9 kHz", "acquisition.exposure": "30 us"},
    "overlap": {"acquisition.binning": "2x2", "acquisition.line_rate": "13.3333 kHz"},
    "tall": {"camera.pixel_height": "15 um"},
}


def varied(changes: dict[str, Any]) -> Setup:
    """Make a variant of the sample."""
    return changed(sample_setup(), changes)


def drawn(picture: Picture) -> Element:
    """Read a drawing."""
    return fromstring(str(picture.image))  # noqa: S314 -- our own


def boxes(drawing: Element, **look: str) -> np.ndarray:
    """Give x, y, width, height of the rectangles that look so, one a row."""
    found = [
        [float(rect.get(name, "")) for name in ("x", "y", "width", "height")]
        for rect in drawing.iter(f"{SVG}rect")
        if all(rect.get(name) == value for name, value in look.items())
    ]
    return np.array(found)


def scale_px_um(drawing: Element) -> float:
    """Read the scale off the bar and its label."""
    (bar,) = (path for path in drawing.iter(f"{SVG}path") if path.get("stroke-width") == "3")
    start, end = (part.split()[0] for part in bar.get("d", "").removeprefix("M").split("L"))
    labels = [text.text or "" for text in drawing.iter(f"{SVG}text")]
    (length,) = (label for label in labels if label.endswith(" µm") and label[0].isdigit())
    return (float(end) - float(start)) / float(length.removesuffix(" µm"))


@pytest.mark.parametrize("name", CHANGES)
def test_lines_on_the_target_are_to_scale(name: str) -> None:
    """Footprint, line advance and smear have the length that the figures say, by the scale bar."""
    setup = varied(CHANGES[name])
    figures = budget(setup).groups
    drawing = drawn(lines_on_target(setup))
    filled, ended = (boxes(drawing, fill=fill) for fill in ("#0072b2", "none"))
    px_um = scale_px_um(drawing)
    assert len(filled) == len(ended) == 4
    lengths = {
        "object_pixel_x_um": filled[:, 2],
        "object_pixel_y_um": filled[:, 3],
        "line_advance_um": np.diff(filled[:, 1]),
    }
    for figure, lengths_px in lengths.items():
        wanted_px = px_um * figures["geometry"][figure]
        assert np.abs(lengths_px - wanted_px).max() < HUNDREDTH
    smear_px = px_um * figures["exposure"]["motion_blur_um"]
    assert np.abs(ended[:, 1] - filled[:, 1] - smear_px).max() < HUNDREDTH


def test_rows_of_a_three_line_sensor_are_to_scale() -> None:
    """Three rows of pixels of 7.5 µm, 75 µm apart; one pixel of each makes a delivered one."""
    setup = varied({"camera.kind": "three-line", "camera.line_spacing": "75 um"})
    drawing = drawn(rows_of_sensor(setup))
    filled, px_um = boxes(drawing, fill="#0072b2"), scale_px_um(drawing)
    assert np.abs(np.diff(filled[:, 1]) - 75 * px_um).max() < HUNDREDTH
    assert np.abs(filled[:, 2:] - 7.5 * px_um).max() < HUNDREDTH
    assert len(filled) == 3


def test_joined_rows_are_those_that_are_read() -> None:
    """Of rows of 5, 5, 10 and 10 µm, 1x2 of the tall ones are the two at the end."""
    setup = varied(
        {
            "camera.row_heights": ["5 um", "5 um", "10 um", "10 um"],
            "acquisition.row_height": "10 um",
            "acquisition.binning": "1x2",
        }
    )
    rows = sensor_rows(setup)
    assert list(rows.tops_um) == [0, 5, 10, 20]
    assert rows.read == range(2, 4)


def test_many_stages_are_drawn_as_a_dozen() -> None:
    """A drawing of 64 stages would have pixels of no size; twelve are drawn, and it says so."""
    rows = sensor_rows(varied({"camera.tdi_stages": 64}))
    assert len(rows.heights_um) == 12
    assert rows.words == "12 of 64 stages"


def test_bars_are_logarithmic() -> None:
    """Bars differ by the decades between their values, and none is longer than its scale."""
    setup = varied({"light.ambient": "2 klx"})
    for part in light_bars(setup, budget(setup)["signal"])[:2]:
        lengths = [row.ratio * part.ticks for row in part.rows]
        decades = [log10(float(row.value.split()[0])) for row in part.rows]
        # half a unit of the third digit is 5e-3 of a value, 2.2e-3 of a decade; two values differ
        assert np.abs(np.diff(lengths) - np.diff(decades)).max() < 4.4e-3
        assert all(0 < row.ratio <= 1 for row in part.rows)


def test_noise_is_shared_out_whole() -> None:
    """The parts of the variance on white make one."""
    rows = noise_bars(station(sample_setup())).rows
    assert sum(row.ratio for row in rows) == pytest.approx(1)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (126.23, "126.2"), (40000.0, "40000"), (24118.3, "24120"), (5e-5, "5e-05")],
)
def test_numbers_are_written_as_people_do(value: float, text: str) -> None:
    """Four digits, and no exponent where it can be helped."""
    assert people_number(value) == text


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_sample_can_be_told_in_words(path: Path) -> None:
    """Three paragraphs of sentences, without a hole in them."""
    told = job_in_words(load_setup(path))
    assert len(told) == 3
    for paragraph in told:
        assert paragraph.endswith(".")
        assert not {"None", "nan", "{"} & set(paragraph.replace(",", " ").split())


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "passes at 60 m/min"),
        ({}, "with 1024 pixels of 7.5 um x 7.5 um"),
        ({}, "13333 lines a second (matched)"),
        ({}, "40 klx, 126.2 W/m², of LED-B3"),
        ({}, "spots 300 um across that are 20 % darker than the product"),
        ({"transport.assumed_speed": "50 m/min"}, "the line clock believes 50 m/min"),
        ({"acquisition.binning": "2x2"}, "Binned 2 x 2 (rows along travel), in charge"),
        ({"camera.tdi_stages": 16}, "16 stages of time-delay integration"),
        ({"transport.skew": "-0.2 deg"}, "Faults that are switched on: a skew of -0.2 deg."),
        ({"light.ambient": "1 klx"}, "1 klx of other light"),
        ({"requirement.detection_rate": 0.99}, "99 % of them"),
    ],
)
def test_sentences_say_what_the_setup_has(changes: dict[str, Any], said: str) -> None:
    """What is set is told, in the user's own units."""
    assert said in " ".join(job_in_words(varied(changes)))


def test_a_curve_looks_the_same_whatever_else_is_drawn() -> None:
    """By its name, alone or as the first of some that are alike; no two of a plot share a look."""
    assert curve_style("read noise") == curve_style("read noise, line noise (each)")
    noise = ("shot noise", "read noise", "fixed pattern", "quantisation", "dark current")
    sharpness = ("diffraction", "defocus", "rest blur", "pixel", "motion", "stages")
    for names in (noise, sharpness):
        looks = {(str(look["color"]), str(look["linestyle"])) for look in map(curve_style, names)}
        assert len(looks) == len(names)


def test_each_curve_of_the_model_has_a_look() -> None:
    """What the model tells apart on a plot has a place of its own there, not that of a stranger."""
    setup = changed(sample_setup(), {"camera.line_noise": "5 e", "camera.dark_current": "9 ke/s"})
    numbers = station(setup)
    frequency_lp_mm = np.linspace(0, 5, 3)
    named = [
        *noise_sources_e(numbers, 100.0),
        *factors_across(numbers, frequency_lp_mm),
        *factors_along(numbers, frequency_lp_mm),
    ]
    stranger = curve_style("nobody knows")
    own = ("stages",)  # of seven factors the last
    assert [name for name in named if curve_style(name) == stranger and name not in own] == []
