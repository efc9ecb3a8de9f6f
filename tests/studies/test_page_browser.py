"""A report in a real browser: silence, its divider, and how it fits a desk, a phone and paper."""

import base64
import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.accessible import faults

pytestmark = pytest.mark.browser
Open = Callable[[str, int], Chrome]
PAGES = ("scan", "rank", "compare")
WIDTHS = (1280, 390)
A4_MM = (210.0, 297.0)
MARGIN_MM = 15.0
CSS_PX_MM = 96 / 25.4  # CSS Values and Units: 96 px are an inch
OVERFLOWING = """
const most = arguments[0];
return [...document.querySelectorAll("body *")]
  .filter((each) => !each.closest(".unseen") && each.getClientRects().length)
  .filter((each) => arguments[1] || !each.closest(".scroll") || each.matches(".scroll"))
  .filter((each) => {
    const box = each.getBoundingClientRect();
    return box.right > most + 0.5 || box.left < -0.5;
  })
  .map((each) => `${each.tagName}.${each.className} ${each.textContent.slice(0, 40)}`);
"""


def asked_for(driver: Chrome) -> list[str]:
    """List the addresses that were asked for since this was last called."""
    messages = [
        json.loads(entry["message"])["message"]
        for entry in driver.get_log("performance")  # type: ignore[no-untyped-call]
    ]
    return [
        message["params"]["request"]["url"]
        for message in messages
        if message["method"] == "Network.requestWillBeSent"
    ]


def test_nothing_but_the_file_is_asked_for(page: Chrome, address: Callable[[str], str]) -> None:
    """The one request is that for the file itself; what is in it comes as data."""
    here = address("scan")
    asked_for(page)
    page.get(here)
    urls = asked_for(page)
    assert here in urls
    assert [url for url in urls if url != here and not url.startswith("data:")] == []


def test_the_console_stays_silent(seen: Chrome) -> None:
    """No error and no warning, and none of the content policy either."""
    assert seen.get_log("browser") == []  # type: ignore[no-untyped-call]


def test_keys_reach_everything_in_order(page: Chrome) -> None:
    """The tab key goes from the divider of the first page, and the contents, to what is folded."""
    body = page.find_element(By.TAG_NAME, "body")
    reached = []
    for _ in range(20):
        body.send_keys(Keys.TAB)
        reached.append(page.execute_script("return document.activeElement.tagName"))
        body = page.switch_to.active_element
        if reached[-1] == "SUMMARY":
            break
    links = len(page.find_elements(By.CSS_SELECTOR, "nav a"))
    assert reached == ["INPUT", *["A"] * links, "INPUT", "SUMMARY"]


def covered(page: Chrome) -> float:
    """Tell how much of the first picture's width the target covers, from what is drawn."""
    clip = page.execute_script(
        'return getComputedStyle(document.querySelector(".before img")).clipPath'
    )
    width = page.execute_script('return document.querySelector(".before img").clientWidth')
    found = re.fullmatch(
        r"inset\(0(?:px)? (?:calc\(100% - )?([\d.]+)(%|px)\)? 0(?:px)? 0(?:px)?\)", clip
    )
    assert found, clip
    share = float(found[1]) / (100 if found[2] == "%" else width)
    return share if "calc" in clip else 1 - share


def test_arrow_keys_move_the_divider(page: Chrome) -> None:
    """It starts in the middle, goes a hundredth a key, and from end to end; its place is told."""
    handle = page.find_element(By.CSS_SELECTOR, ".pair input")
    assert "arrow keys" in page.find_element(By.CSS_SELECTOR, ".pair label").text
    assert covered(page) == pytest.approx(0.5)
    handle.send_keys(Keys.ARROW_RIGHT * 3)
    assert covered(page) == pytest.approx(0.53)
    assert handle.get_attribute("aria-valuetext") == "53 % Target"
    handle.send_keys(Keys.HOME)
    assert covered(page) == pytest.approx(0)
    handle.send_keys(Keys.END)
    assert covered(page) == pytest.approx(1)


def test_a_click_moves_the_line_to_its_place(page: Chrome) -> None:
    """The line comes to where the picture is touched, to one step of a hundredth."""
    handle = page.find_element(By.CSS_SELECTOR, ".pair input")
    page.execute_script('arguments[0].scrollIntoView({block: "center"})', handle)
    picture = page.execute_script(
        'const b = document.querySelector(".after img").getBoundingClientRect();'
        "return [b.left, b.top, b.width, b.height];"
    )
    place = {"x": picture[0] + 0.25 * picture[2], "y": picture[1] + 0.3 * picture[3]}
    for kind in ("mousePressed", "mouseReleased"):
        event = {"type": kind, **place, "button": "left", "clickCount": 1}
        page.execute_cdp_cmd("Input.dispatchMouseEvent", event)
    assert covered(page) == pytest.approx(0.25, abs=0.01)


def test_without_script_both_pictures_stand_side_by_side(
    page: Chrome, address: Callable[[str], str]
) -> None:
    """Where scripts are forbidden, nothing is hidden."""
    page.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        page.get(address("scan"))
        page.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
        sides = page.execute_script("""
          return [...document.querySelectorAll(".side")].map((each) =>
            [each.getBoundingClientRect().left, getComputedStyle(each.firstElementChild).clipPath]);
        """)
    finally:
        page.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert [clip for _, clip in sides] == ["none"] * 4
    assert sides[0][0] < sides[1][0]


def test_the_report_lies_where_it_was_written(address: Callable[[str], str]) -> None:
    """One file, and nothing beside it that it would need."""
    file = Path(address("scan").removeprefix("file://"))
    assert [path.name for path in file.parent.iterdir()] == ["report.html"]


@contextmanager
def on_paper(driver: Chrome) -> Iterator[int]:
    """Lay the page out as for print, as wide as A4 leaves it between its margins."""
    inside_px = int((A4_MM[0] - 2 * MARGIN_MM) * CSS_PX_MM)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        size = {"width": inside_px, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        yield inside_px
    finally:
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


@pytest.mark.parametrize("width_px", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_nothing_overflows(opened: Open, name: str, width_px: int) -> None:
    """Nothing reaches past the screen, on a desk or a phone, but inside of what scrolls itself."""
    page = opened(name, width_px)
    inside = page.execute_script("return document.documentElement.clientWidth")
    assert page.execute_script("return document.documentElement.scrollWidth") <= inside
    assert page.execute_script(OVERFLOWING, inside, False) == []  # noqa: FBT003 -- an argument


@pytest.mark.parametrize(
    ("name", "width_px"),
    [("scan", 1280), ("rank", 1280), ("compare", 390), ("one page", 1280), ("vary", 1280)],
)
def test_a_report_breaks_no_rule(opened: Open, name: str, width_px: int) -> None:
    """As axe-core judges it: names, headings, landmarks, contrast, tables."""
    assert faults(opened(name, width_px)) == []


@pytest.mark.parametrize("width_px", WIDTHS)
def test_letters_can_be_read(opened: Open, width_px: int) -> None:
    """No text, in tables or in drawings, is set smaller than 9 CSS pixels; our choice."""
    page = opened("scan", width_px)
    sizes = page.execute_script("""
      return [...document.querySelectorAll("p, td, th, li, small, code, figcaption, svg text")]
        .filter((each) => each.getClientRects().length && each.textContent.trim())
        .map((each) => {
          const scale = each.ownerSVGElement
            ? each.ownerSVGElement.getBoundingClientRect().width
              / each.ownerSVGElement.viewBox.baseVal.width : 1;
          return parseFloat(getComputedStyle(each).fontSize) * scale;
        });
    """)
    assert len(sizes) > 100
    assert min(sizes) >= 9


def test_both_pictures_lie_on_each_other(seen: Chrome) -> None:
    """On the screen they share one place, to the pixel, so that the line cuts both alike."""
    boxes = seen.execute_script("""
      return [...document.querySelectorAll(".pair")].map((pair) =>
        [...pair.querySelectorAll("img")].map((each) => {
          const box = each.getBoundingClientRect();
          return [box.left, box.top, box.width, box.height, each.naturalWidth];
        }));
    """)
    assert len(boxes) == 2
    for before, after in boxes:
        assert before == after
        assert before[4] > 300


def printed(page: Chrome) -> bytes:
    """Print to A4 as the page itself asks."""
    wanted = {"preferCSSPageSize": True, "printBackground": False}
    return base64.b64decode(page.execute_cdp_cmd("Page.printToPDF", wanted)["data"])


def test_it_prints_on_a4(seen: Chrome) -> None:
    """Every sheet is A4, to a point of a printer (1/72 inch), and there is more than one."""
    pdf = printed(seen).decode("latin-1")
    sheets = re.findall(r"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    assert len(sheets) > 3
    for sheet in sheets:
        assert [float(side) for side in sheet] == pytest.approx(
            [side * 72 / 25.4 for side in A4_MM], abs=1
        )


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_cut_in_print(opened: Open, name: str) -> None:
    """At the width that A4 leaves between its margins nothing is wider, tables neither."""
    page = opened(name, 1280)
    with on_paper(page) as inside_px:
        assert page.execute_script(OVERFLOWING, inside_px, True) == []  # noqa: FBT003 -- an argument


def test_both_pictures_are_printed(seen: Chrome) -> None:
    """Side by side, whole, without the handle, and no taller than a sheet."""
    with on_paper(seen):
        clips = seen.execute_script("""
          return [...document.querySelectorAll(".side img")].map((each) => {
            const box = each.getBoundingClientRect();
            return [getComputedStyle(each).clipPath, box.left, box.top, box.height];
          });
        """)
        tall_px = max(box[3] for box in clips)
        assert [clip for clip, *_ in clips] == ["none"] * 4
        for first, second in (clips[:2], clips[2:]):
            assert first[1] < second[1]
            assert first[2] == second[2]
        assert tall_px < (A4_MM[1] - 2 * MARGIN_MM) * CSS_PX_MM
        handle = seen.find_element(By.CSS_SELECTOR, ".pair input")
        assert not handle.is_displayed()


@pytest.mark.parametrize("name", PAGES)
def test_the_answer_fits_the_first_sheet(opened: Open, name: str) -> None:
    """What stands before the contents is no taller than A4 leaves between its margins."""
    page = opened(name, 1280)
    with on_paper(page):
        tall_px = page.execute_script(
            'return document.querySelector(".first").getBoundingClientRect().height'
        )
    assert tall_px < (A4_MM[1] - 2 * MARGIN_MM - 1) * CSS_PX_MM


def test_what_is_folded_is_printed(opened: Open) -> None:
    """Rows that are the same for all variants are folded on the screen and whole on paper."""
    page = opened("compare", 1280)
    row = page.find_element(By.CSS_SELECTOR, "details.rows td")
    assert not page.execute_script("return arguments[0].checkVisibility()", row)
    with on_paper(page):
        assert page.execute_script("return arguments[0].checkVisibility()", row)
