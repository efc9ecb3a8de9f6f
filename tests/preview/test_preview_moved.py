"""The preview in a real browser: every control brings the figures of the budget, to the letter."""

from typing import TYPE_CHECKING, Any

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from linesim.figures.budget import budget
from linesim.preview.control_kinds import SHARE, Picker, Slider
from linesim.preview.controls import controls
from linesim.preview.uploads import Uploads
from linesim.preview.variant import variant
from linesim.report.rows import figure_rows
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan

if TYPE_CHECKING:
    from tests.preview.conftest import Page

pytestmark = pytest.mark.browser
# each within what the small station can do
SLID = {
    "light.illuminance": "31.5",
    "requirement.smallest_defect": "250",
    "lens.field_of_view": "15",
    "lens.f_number": "5.6",
    "lens.defocus": "0.8",
    "lens.blur": "3",
    "transport.speed": "72",
    SHARE: "0.5",
    "camera.pixel_width": "7",
    "camera.read_noise": "35",
    "camera.full_well": "25",
    "camera.gain": "0.05",
}
PICKED = {
    "camera.pixels": "512",
    "acquisition.line_rate": "square",
    "acquisition.binning": "2x2",
    "acquisition.binning_domain": "digital",
    "acquisition.binning_along": "lines",
    "acquisition.binning_mode": "average",
    "camera.bit_depth": "10",
}
# what a choice needs beside it to be a valid setup, or to do anything
DIGITAL = {"acquisition.binning_domain": "digital"}
BESIDE = {
    "acquisition.binning_along": {"acquisition.binning": "1x2", **DIGITAL},
    "acquisition.binning_mode": {"acquisition.binning": "2x2", **DIGITAL},
}


def made(station: Setup, changes: dict[str, Any]) -> Setup:
    """Give the setup that the page should have."""
    return variant(station, changes, Uploads()).setup


def words(setup: Setup) -> list[list[str]]:
    """Give the rows that the page should show, from the budget of a setup."""
    rows = [row for group in figure_rows(setup, budget(setup)).values() for row in group]
    return [[f"{row.label}, {row.colour}" if row.colour else row.label, row.text] for row in rows]


def test_every_control_is_tried_below(station: Setup) -> None:
    """A control that is new gets a value above."""
    found = list(controls(station))
    assert {each.key for each in found if isinstance(each, Slider)} == set(SLID)
    assert {each.key for each in found if isinstance(each, Picker)} == set(PICKED)


def test_sliders_bring_the_budgets_figures(page: "Page", station: Setup) -> None:
    """After each typed value the figures are those of the budget of that setup."""
    wanted: dict[str, Any] = {}
    for each in controls(station):
        if isinstance(each, Slider):
            page.typed(each.key, SLID[each.key])
            number = float(SLID[each.key])
            wanted[each.key] = f"{number:g} {each.unit}" if each.unit else number
            assert page.rows() == words(made(station, wanted)), each.key
    assert page.changes() == wanted
    assert page.log("browser") == []


def test_what_hands_do_most(page: "Page", station: Setup) -> None:
    """A picker, undo and redo, and A that stays beside a B that moves: figures and pictures."""
    first, joined = page.sums(), made(station, {"acquisition.binning": "2x2"})
    page.picked("acquisition.binning", "2x2")
    second = page.sums()
    assert page.rows() == words(joined)
    page.click("undo")
    assert page.changes() == {}
    assert page.sums() == first != second
    page.click("redo")
    assert page.sums() == second
    page.click("pin")
    page.typed("light.illuminance", "20")
    rows = page.rows()
    assert [[row[0], row[1]] for row in rows] == words(joined)
    dim = changed(joined, {"light.illuminance": "20 klx"})
    assert [[row[0], row[2]] for row in rows] == words(dim)
    assert page.run("return linesim.answers.b.raster.width") == 96


@pytest.mark.nightly
@pytest.mark.parametrize("key", PICKED)
def test_pickers_bring_the_budgets_figures(page: "Page", station: Setup, key: str) -> None:
    """A choice changes the figures to those of the budget of that setup."""
    wanted = {**BESIDE.get(key, {}), key: PICKED[key]}
    for each, word in wanted.items():
        page.picked(each, word)
    sent = {
        k: int(v) if k in ("camera.bit_depth", "camera.pixels") else v for k, v in wanted.items()
    }
    assert page.changes() == sent
    assert page.rows() == words(made(station, sent))


@pytest.mark.nightly
def test_a_slider_moves_by_keys(page: "Page") -> None:
    """Arrow keys move it, the number beside it follows, and its value is told with its unit."""
    slider = page.control("transport.speed").find_element(By.CSS_SELECTOR, "input[type=range]")
    before = float(slider.get_attribute("value") or "")
    slider.send_keys(Keys.ARROW_RIGHT * 20)
    page.settled()
    assert float(slider.get_attribute("value") or "") == before + 20
    field = page.control("transport.speed").find_element(By.CSS_SELECTOR, "input[type=text]")
    # twenty thousandths of three decades further, to three digits
    assert float(field.get_attribute("value") or "") == pytest.approx(60 * 1000**0.02, rel=0.01)
    assert (slider.get_attribute("aria-valuetext") or "").endswith("m/min")


@pytest.mark.nightly
def test_a_refusal_is_told_and_taken_back(page: "Page") -> None:
    """A value that is refused brings its sentence; undo brings everything back."""
    before = page.rows()
    page.typed("lens.f_number", "0.1")
    assert "lens.f_number: read 0.1" in page.one("faults").text
    assert page.rows() == before
    page.click("undo")
    assert page.one("faults").text == ""
    assert page.changes() == {}


@pytest.mark.nightly
def test_undo_and_redo(page: "Page") -> None:
    """Each step goes back and forth, with its picture."""
    first = page.sums()
    page.typed("light.illuminance", "20")
    second = page.sums()
    page.picked("acquisition.binning", "2x2")
    for wanted in ({"light.illuminance": "20 klx"}, {}):
        page.click("undo")
        assert page.changes() == wanted
    assert page.sums() == first != second
    page.click("redo")
    assert page.sums() == second


@pytest.mark.nightly
def test_a_stays_while_b_moves(page: "Page", station: Setup) -> None:
    """Pinned, A keeps its figures and picture beside those of B."""
    page.typed("light.illuminance", "20")
    page.click("pin")
    page.picked("acquisition.binning", "2x2")
    dim: dict[str, Any] = {"light.illuminance": "20 klx"}
    rows = page.rows()
    assert [[row[0], row[1]] for row in rows] == words(made(station, dim))
    joined = made(station, {**dim, "acquisition.binning": "2x2"})
    assert [[row[0], row[2]] for row in rows] == words(joined)
    assert page.run("return linesim.answers.a.raster.width") == 192
    assert page.run("return linesim.answers.b.raster.width") == 96


@pytest.mark.nightly
def test_the_cursor_reads_both_panes(page: "Page", station: Setup) -> None:
    """One place on the target; in each pane number and electrons of the sample that lies there."""
    page.click("pin")
    page.picked("acquisition.binning", "2x2")
    page.driver.find_element(By.CSS_SELECTOR, "#pane-b canvas").send_keys(Keys.ARROW_RIGHT)
    page.settled()
    place = page.one("place").text.split()
    across_mm, along_mm = float(place[0]), float(place[6])
    rows = [
        [cell.text for cell in row.find_elements(By.CSS_SELECTOR, "td")]
        for row in page.driver.find_elements(By.CSS_SELECTOR, "#readings tr")
    ]
    setups = station, made(station, {"acquisition.binning": "2x2"})
    for row, whole in zip(rows, map(scan, setups), strict=True):
        step_mm, advance_mm = (
            whole.budget.number("geometry", name) / 1000
            for name in ("object_pixel_x_um", "line_advance_um")
        )
        # the page keeps more digits of the place than it shows
        column = int((across_mm + 1e-4) / step_mm + whole.image.shape[1] / 2)
        line = int((along_mm + 1e-4) / advance_mm)
        assert row[0] == f"{whole.image[line, column]} DN"
        expected_e = float(whole.expected_e[line, column])
        # four digits are shown, and a code is one in 65535 of the largest
        assert float(row[1].split()[0]) == pytest.approx(expected_e, rel=1e-3)
