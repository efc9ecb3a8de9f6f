"""The preview in a real browser: silence, links, files, keys, and a narrow screen."""

import json
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import tifffile
from selenium.webdriver import ActionChains
from selenium.webdriver.common.keys import Keys

from linesim.preview.control_kinds import SHARE
from linesim.setup.load import load_setup
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan

if TYPE_CHECKING:
    from tests.preview.conftest import Page

pytestmark = pytest.mark.browser
USABLE = """
return [...document.querySelectorAll("button, input, select, canvas, summary")]
  .filter((each) => each.getClientRects().length && !each.disabled
    && getComputedStyle(each).visibility !== "hidden"
    && !(each.type === "radio" && !each.checked)).length;
"""
OUTLINE = """
const own = document.activeElement;
const style = getComputedStyle(own.type === "radio" ? own.closest("label") : own);
globalThis.reached = (globalThis.reached ?? new Set()).add(own);
return [style.outlineStyle, parseFloat(style.outlineWidth), reached.size];
"""


def test_it_loads_in_silence_and_asks_only_its_own(browser: "Page") -> None:
    """No console entry, and no request off the page's own origin and token."""
    for kind in ("performance", "browser"):
        browser.log(kind)
    browser.open(browser.address)
    messages = [json.loads(entry["message"])["message"] for entry in browser.log("performance")]
    urls = [
        message["params"]["request"]["url"]
        for message in messages
        if message["method"] == "Network.requestWillBeSent"
    ]
    assert f"{browser.address}main.js" in urls
    own = (browser.address, "data:", "blob:", "about:")
    assert [url for url in urls if not url.startswith(own)] == []
    assert browser.log("browser") == []


def test_a_link_restores_the_state(page: "Page") -> None:
    """The fragment holds B, A, seed, view and what is shown; opened again they are all there."""
    page.typed("light.illuminance", "20")
    page.click("pin")
    page.typed("lens.f_number", "8")
    page.click("again")
    page.click("single")
    page.one("show").send_keys("S")
    time.sleep(0.4)  # the fragment follows a moment later
    state, address, before = page.run("return linesim.state"), page.driver.current_url, page.sums()
    assert state["pinned"] == {"light.illuminance": "20 klx"}
    assert state["show"] == "snr"
    page.open(address)
    again = page.run("return linesim.state")
    # a link has six digits of the view
    assert again.pop("view") == pytest.approx(state.pop("view"), rel=1e-5)
    assert again == state
    assert page.sums() == before


@pytest.mark.nightly
def test_a_damaged_link_opens_the_setup(page: "Page") -> None:
    """What cannot be read of a fragment is left out; what it names without sense is refused."""
    page.driver.get("about:blank")
    page.driver.get(f"{page.address}#b.lens.f_number=%7B&view=a,b&seed=-3&b.target=%22gone%22")
    fault = "return document.getElementById('faults').textContent"
    for _ in range(500):
        if page.run(fault):
            break
        time.sleep(0.01)
    assert 'read "gone"' in page.run(fault)
    assert page.run("return linesim.state.seed") == 0


@pytest.mark.nightly
def test_a_stale_answer_is_dropped(page: "Page") -> None:
    """An answer with an older number than the one shown changes nothing; a newer one does."""
    page.typed("light.illuminance", "20")
    before = page.rows()
    answer = """
      const { b } = linesim.lookers;
      b.take({ ...linesim.answers.b, rows: {}, electrons: false }, { number: b.shown + %d });
    """
    page.run(answer % -1)
    assert page.rows() == before
    page.run(answer % 1)
    assert page.rows() == []


def test_the_written_setup_gives_the_same_picture(page: "Page") -> None:
    """The TOML that is downloaded, run by itself, gives the samples that the page shows."""
    page.typed("light.illuminance", "25")
    page.typed(SHARE, "0.5")
    page.picked("acquisition.binning", "2x2")
    page.click("write-setup")
    whole = scan(load_setup(page.arrived("setup.toml")))
    assert page.sums() == (int(whole.image.sum()), whole.image.size)


def test_the_whole_scan_is_downloaded(page: "Page", station: Setup) -> None:
    """On request the scan is made at full resolution and saved."""
    page.one("write-scan").click()
    file = page.arrived("scan.tif")
    np.testing.assert_array_equal(tifffile.imread(file), scan(station).image)
    assert "scan.tif is ready" in page.one("notice").text


def test_own_images(page: "Page", tmp_path: Path) -> None:
    """A bad file gets a sentence and changes nothing; a good one is looked at."""
    bad, good = tmp_path / "bad.png", tmp_path / "good.tif"
    bad.write_bytes(b"\x89PNG\r\n\x1a\n broken")
    tifffile.imwrite(good, np.tile(np.array([60, 200], dtype=np.uint8), (600, 300)))
    page.more()
    before, field = page.sums(), page.one("own-image")
    field.send_keys(str(bad))
    page.settled()
    assert page.one("faults").text.startswith('own image "bad.png" is cut short')
    assert page.sums() == before
    field.send_keys(str(good))
    page.settled()
    assert page.one("faults").text == ""
    assert page.changes()["target"].startswith("upload-")
    assert page.sums() != before
    assert page.log("browser") == []


@pytest.mark.nightly
def test_keys_reach_every_control(page: "Page") -> None:
    """The tab key comes to each control that can be used, and the frame around it is seen."""
    page.run("document.getElementById('more').open = true")  # a click would move the focus
    count = page.run(USABLE)
    reached = 0
    for _ in range(count):
        ActionChains(page.driver).send_keys(Keys.TAB).perform()
        style, width_px, reached = page.run(OUTLINE)
        assert style != "none"
        assert width_px >= 2
    assert reached == count > 30
