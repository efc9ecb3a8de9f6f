"""Tables, words, plots and files of a study along ranges."""

import csv
import json
import re
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from linesim.setup.load import changed
from linesim.studies.batch.ranges import ranges_of, short
from linesim.studies.vary.alternatives import alternatives
from linesim.studies.vary.alternatives_table import alternatives_text
from linesim.studies.vary.labels import axis_words
from linesim.studies.vary.maps import maps
from linesim.studies.vary.outputs import vary_json, write_vary
from linesim.studies.vary.plots import line_plots, plotted
from linesim.studies.vary.rendered import rendered
from linesim.studies.vary.study import Varied, vary
from linesim.studies.vary.table import vary_text
from linesim.studies.vary.words import answer
from tests.stations import plain_setup

BASE = plain_setup(
    "Outputs",
    target={"width": "10 mm", "height": "5 mm"},
    light={"illuminance": "4 klx"},
    camera={"read_noise": "20 e"},
    requirement={"snr": 20},
)
LIGHT = {"light.illuminance": "0.2klx:400klx:log6"}


def study(
    texts: dict[str, str], binning: tuple[str, ...] = ("1x1", "2x2"), **keys: object
) -> Varied:
    """Vary some binnings, SNR and clipping alone."""
    base = changed(BASE, keys)
    return vary(base, texts, binning=binning, figures=("snr_product", "clipping_share"))


@pytest.fixture(scope="module")
def lit() -> Varied:
    """Study the light once."""
    return study(LIGHT)


def points(found: Varied) -> list[dict[str, object]]:
    """Give the points as the JSON file has them."""
    told: Any = vary_json(found, ())["points"]
    return list(told)


def number(pattern: str, text: str) -> float:
    """Take one number out of a text."""
    match = re.search(pattern, text)
    assert match, text
    return float(match[1])


def test_the_answer_for_light(lit: Varied) -> None:
    """
    Where each reaches the SNR, and how much more light one needs: 4.0 and 8.0 times.

    The numbers said are those found, to three digits.
    """
    *together, same, full, clipping = answer(lit)
    assert same.startswith(
        "At the same exposure time, 2x2 charge reaches SNR 20 on the product at "
    )
    assert same.endswith("klx (4.0 times).")
    assert full.startswith("With full exposure, each at its own line rate, 2x2 charge reaches")
    assert full.endswith("klx (8.0 times).")
    low = lit.answers[0].met[0].low / 1000
    assert number(r"1x1 needs ([\d.]+) klx", same) == pytest.approx(low, rel=5e-3)
    assert re.fullmatch(
        r"The picture clips with 1x1 above [\d.]+ klx, with 2x2 charge above [\d.]+ klx\.", clipping
    )
    assert len(together) == 4
    high = number(r"with 1x1 above ([\d.]+) klx", clipping)
    assert together[0] == (
        f"At the same exposure time, with 1x1 everything holds from {short(low)} klx to {high:g} "
        "klx: below, SNR on the product is missed; above, the picture clips."
    )


def test_the_answer_where_a_figure_falls() -> None:
    """Stopping down: held up to an f-number, by half as much (a quarter of the light)."""
    said = " ".join(answer(study({"lens.f_number": "2:22:log6"})))
    words = r"2x2 charge holds SNR 20 on the product up to f/[\d.]+, 1x1 up to f/[\d.]+ \(0.5 "
    assert re.search(words, said)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"requirement.snr": 3000},
         r"1x1 never reaches SNR 3000 on the product in this range: at best [\d.]+, at"),
        ({"requirement.snr": 0.1, "requirement.product_reflectance": 0.1},
         "1x1 meets SNR 0.1 on the product over the whole range, 0.2 klx to 400 klx"),
        ({"camera.full_well": "3 ke", "camera.gain": "0.1 DN/e",
          "requirement.product_reflectance": 0.1},
         "SNR 20 on the product .* where the picture clips"),
        ({"camera.full_well": "300 e", "camera.gain": "0.1 DN/e"},
         "No place in this range meets everything: SNR on the product is missed everywhere"),
        ({"requirement.snr": None}, "The setup requires nothing"),
    ],
)  # fmt: skip
def test_the_answer_says_what_is_not_reached(keys: dict[str, object], said: str) -> None:
    """Never, everywhere, only past the limit, or nothing asked."""
    assert re.search(said, " ".join(answer(study(LIGHT, ("1x1",), **keys))))


def test_the_answer_for_two_keys() -> None:
    """Both ends of the second key; the table has those between."""
    found = study({**LIGHT, "lens.f_number": "2,4,8"})
    text = vary_text(found)
    assert "1x1 meets SNR 20 on the product: at f/2 from" in text
    assert "where along light.illuminance SNR 20 on the product is met" in text
    assert "where along light.illuminance everything holds" in text
    assert re.search(
        r"^  f/4  .*from [\d.]+ klx to [\d.]+ klx .*from [\d.]+ klx to", text, re.MULTILINE
    )


def test_the_table(lit: Varied) -> None:
    """A row a value with its verdict, lines fit a console; the safety line stands."""
    text = vary_text(lit)
    rows = [line for line in text.splitlines() if re.match(r"  [\d.]+ klx ", line)]
    assert len(rows) == 12
    assert [sum(row.endswith(word) for row in rows) for word in ("missed", " met", "clips")] == [
        3,
        6,
        3,
    ]
    assert max(map(len, text.splitlines())) <= 100
    assert "Moving webs and nips draw hands in" in text
    assert "bright_light" in text  # 400 klx of LED-B3 is 1.26 kW/m²
    assert "bright_light" not in vary_text(study({"light.illuminance": "1klx,2klx"}))


def test_many_rows_are_thinned_and_said_so() -> None:
    """The console shows 25 of 60; the file has all."""
    text = vary_text(vary(BASE, {"light.illuminance": "1klx:2klx:lin60"}, figures=("snr_white",)))
    assert "25 of 60 points are shown; vary.csv has all" in text


@pytest.fixture(scope="module")
def written(lit: Varied, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Varied]:
    """Write a study with rendered points."""
    folder = tmp_path_factory.mktemp("vary")
    write_vary(lit, rendered(lit, seed=1), folder)
    return folder, lit


def test_files(written: tuple[Path, Varied]) -> None:
    """A picture, a table with every point of every binning, and JSON that says the same."""
    folder, found = written
    assert sorted(each.name for each in folder.iterdir()) == ["vary.csv", "vary.json", "vary.png"]
    with (folder / "vary.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    data = json.loads((folder / "vary.json").read_text("utf-8"))
    assert len(rows) == len(data["points"]) == 12
    for row, point in zip(rows, data["points"], strict=True):
        assert row.pop("binning") == point.pop("binning")
        assert {name: float(value) for name, value in row.items()} == point
    assert data["answer"] == list(answer(found))
    assert data["ranges"][0]["unit"] == "klx"
    assert {each["figure"] for each in data["rendered"]} == {"snr_product"}
    crossing = data["requirements"][0]["met"][0]
    assert (crossing["crossed_at_from"], crossing["crossed_at_to"]) == (True, True)


@pytest.mark.nightly
def test_the_same_bytes(written: tuple[Path, Varied], tmp_path: Path) -> None:
    """Again, into another folder."""
    found = study(LIGHT)
    write_vary(found, rendered(found, seed=1), tmp_path)
    for each in written[0].iterdir():
        assert (tmp_path / each.name).read_bytes() == each.read_bytes()


def pixels(png: bytes) -> np.ndarray:
    """Read a picture as grey levels."""
    return np.asarray(Image.open(BytesIO(png)).convert("L"), dtype=np.int16)


def test_plots(written: tuple[Path, Varied]) -> None:
    """Two panels; the requirement leaves its ink."""
    height, width = pixels((written[0] / "vary.png").read_bytes()).shape
    assert width > height  # side by side
    asked, unasked = (
        vary(changed(BASE, keys), {"light.illuminance": "2klx,4klx"}, figures=("snr_product",))
        for keys in ({}, {"requirement.snr": None})
    )
    assert line_plots(asked) != line_plots(unasked)


def test_maps() -> None:
    """Greys alone, and another requirement draws another line."""
    texts = {"light.illuminance": "0.2klx:400klx:log6", "lens.f_number": "2,16"}
    found, other = (
        vary(changed(BASE, {"requirement.snr": snr}), texts, figures=("snr_white",))
        for snr in (20, 5)
    )
    map_png = maps(found)
    drawn = np.asarray(Image.open(BytesIO(map_png)).convert("RGB"), dtype=np.int16)
    assert np.ptp(drawn, axis=2).max() <= 12  # ink is a very dark blue grey: #1e1e22
    assert maps(other) != map_png


@pytest.mark.usefixtures("undrawn")
def test_a_figure_without_value_is_absent() -> None:
    """In the dark there is no SNR in dB: no cell, no key, no null."""
    found = vary(BASE, {"light.illuminance": "0lx:1klx:lin3"}, figures=("snr_white_db",))
    first, second, _ = points(found)
    assert "snr_white_db" not in first
    assert "snr_white_db" in second
    assert line_plots(found)


def test_colours_have_columns_of_their_own() -> None:
    """A prism: three columns in the table."""
    found = vary(changed(BASE, {"camera.kind": "prism"}), LIGHT, figures=("snr_white",))
    first, *_ = points(found)
    assert {"snr_white.red", "snr_white.green", "snr_white.blue"} <= set(first)


def test_the_ways_in_words() -> None:
    """A table of all ways, what each costs, and the cautions of the brightest."""
    found = alternatives(changed(BASE, {"light.illuminance": "200 klx"}))
    text = alternatives_text("Outputs", found)
    assert max(map(len, text.splitlines())) <= 100
    for said in (
        "light x4: light and heat on the target 4 times, but the picture clips: white takes 425 %",
        "and stops clipping at 186 klx.",
        "aperture +2 stops: depth of field 0.5 times",
        "a quarter of the speed",
        "bright_light (light x4):",
        "Moving webs and nips draw hands in",
    ):
        assert said in text


def test_each_demand_has_a_plot_and_what_is_constant_has_none() -> None:
    """Along light the SNR and clipping change, MTF50 does not; asked for, figures are those."""
    found = vary(BASE, LIGHT)
    assert plotted(found) == ("snr_product", "clipping_share")
    named = vary(BASE, LIGHT, figures=("mtf50_y_lp_mm", "electrons_white"))
    assert plotted(named) == ("electrons_white",)
    alone = vary(BASE, LIGHT, figures=("mtf50_y_lp_mm",))
    assert plotted(alone) == ("mtf50_y_lp_mm",)


def test_a_demand_that_is_missed_somewhere_has_a_plot() -> None:
    """The camera's line rate along speed: within it there is none, over it there is."""
    limited = changed(BASE, {"camera.max_line_rate": "20 kHz"})
    slow, fast = (vary(limited, {"transport.speed": f"30m/min:{v}m/min:lin4"}) for v in (80, 200))
    assert "line_rate_share" not in plotted(slow)
    assert "line_rate_share" in plotted(fast)


def test_axes_speak_in_words() -> None:
    """A key is no name for an axis; units are set as in print."""
    ranges = {
        "light.illuminance": "1klx:2klx:lin2",
        "lens.f_number": "2.8,4",
        "acquisition.exposure": "10us:20us:lin2",
        "camera.read_noise": "5e,10e",
    }
    said = [
        axis_words(each) for key, text in ranges.items() for each in ranges_of(BASE, {key: text})
    ]
    assert said == [
        "illuminance at the target, klx",
        "f-number",
        "exposure time, µs",
        "read noise, e",
    ]
