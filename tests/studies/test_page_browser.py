"""A report in a real browser: nothing is fetched, and its divider obeys keys and pointer."""

import json
import re
from pathlib import Path

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

pytestmark = pytest.mark.browser


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


def test_nothing_but_the_file_is_asked_for(page: Chrome, addresses: dict[str, str]) -> None:
    """The one request is that for the file itself; what is in it comes as data."""
    address = addresses["scan"]
    asked_for(page)
    page.get(address)
    urls = asked_for(page)
    assert address in urls
    assert [url for url in urls if url != address and not url.startswith("data:")] == []


def test_the_console_stays_silent(page: Chrome) -> None:
    """No error and no warning, and none of the content policy either."""
    assert page.get_log("browser") == []  # type: ignore[no-untyped-call]


def test_keys_reach_everything_in_order(page: Chrome) -> None:
    """The tab key goes from the contents through both dividers to the folded setup."""
    body = page.find_element(By.TAG_NAME, "body")
    reached = []
    for _ in range(20):
        body.send_keys(Keys.TAB)
        reached.append(page.execute_script("return document.activeElement.tagName"))
        body = page.switch_to.active_element
        if reached[-1] == "SUMMARY":
            break
    links = len(page.find_elements(By.CSS_SELECTOR, "nav a"))
    assert reached == ["A"] * links + ["INPUT", "INPUT", "SUMMARY"]


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
    page: Chrome, addresses: dict[str, str]
) -> None:
    """Where scripts are forbidden, nothing is hidden."""
    page.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        page.get(addresses["scan"])
        page.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
        sides = page.execute_script("""
          return [...document.querySelectorAll(".side")].map((each) =>
            [each.getBoundingClientRect().left, getComputedStyle(each.firstElementChild).clipPath]);
        """)
    finally:
        page.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert [clip for _, clip in sides] == ["none"] * 4
    assert sides[0][0] < sides[1][0]


def test_the_report_lies_where_it_was_written(addresses: dict[str, str]) -> None:
    """One file, and nothing beside it that it would need."""
    file = Path(addresses["scan"].removeprefix("file://"))
    assert [path.name for path in file.parent.iterdir()] == ["report.html"]
