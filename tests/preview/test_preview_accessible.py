"""The preview page as axe-core judges it: wide and narrow, light and dark, with all controls."""

from typing import TYPE_CHECKING

import pytest

from tests.accessible import faults

if TYPE_CHECKING:
    from tests.preview.conftest import Page

pytestmark = pytest.mark.browser
WIDTHS = (1280, 390)
LABEL = "document.querySelector('#pane-b canvas').{}Attribute('aria-label'{})"
UNLABELLED = """
return [...document.querySelectorAll("button, input, select, canvas, progress")]
  .filter((each) => !(each.getAttribute("aria-label") || each.textContent.trim()
    || (each.labels && each.labels.length && each.labels[0].textContent.trim())))
  .map((each) => each.outerHTML.slice(0, 80));
"""
# WCAG 2.2, 1.4.3 and its definition of contrast ratio
FAINT = """
const light = (text) => {
  const [r, g, b] = text.match(/[\\d.]+/g).slice(0, 3).map(Number).map((each) => {
    const share = each / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const behind = (node) => {
  for (let each = node; each; each = each.parentElement) {
    const colour = getComputedStyle(each).backgroundColor;
    if (!/, 0\\)$|transparent/.test(colour)) return colour;
  }
  return "rgb(255, 255, 255)";
};
return [...document.querySelectorAll("body *")]
  .filter((each) => each.getClientRects().length && !each.matches(":disabled")
    && [...each.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim()))
  .map((each) => {
    const style = getComputedStyle(each);
    const ink = each instanceof SVGElement ? style.fill : style.color;
    const [a, b] = [light(ink), light(behind(each))];
    return [(Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), each.tagName, each.textContent];
  });
"""


@pytest.fixture(scope="module")
def unfolded(browser: "Page") -> "Page":
    """Show all controls, and A beside a B with little light; once for all that only look."""
    browser.screen(1280)
    browser.open(browser.address)
    browser.more()
    browser.click("pin")
    browser.typed("light.illuminance", "2")
    return browser


@pytest.mark.parametrize(
    ("width_px", "scheme"), [(1280, "light"), (390, "dark"), (1280, "dark"), (390, "light")]
)
def test_the_page_breaks_no_rule(unfolded: "Page", width_px: int, scheme: str) -> None:
    """With A beside B and everything unfolded: on a desk and a phone, in both colour schemes."""
    unfolded.screen(width_px)
    unfolded.scheme(scheme)
    unfolded.settled()
    assert faults(unfolded.driver) == []


def test_a_broken_rule_is_found(unfolded: "Page") -> None:
    """A picture without a name is one."""
    name = unfolded.run(f"return {LABEL.format('get', '')}")
    unfolded.run(LABEL.format("remove", ""))
    found = faults(unfolded.driver, ".sight")
    unfolded.run(LABEL.format("set", f", {name!r}"))
    assert [each.partition(":")[0] for each in found] == ["role-img-alt"]


@pytest.mark.parametrize("width_px", WIDTHS)
def test_it_can_be_used_on_a_desk_and_on_a_phone(unfolded: "Page", width_px: int) -> None:
    """Nothing is wider than the screen, every control has a name, and all text can be read."""
    unfolded.scheme("light")
    unfolded.screen(1280)
    unfolded.typed("light.illuminance", "900")
    unfolded.screen(width_px)
    unfolded.settled()
    inside = unfolded.run("return document.documentElement.clientWidth")
    assert unfolded.run("return document.documentElement.scrollWidth") <= inside
    assert unfolded.run(UNLABELLED) == []
    contrasts = unfolded.run(FAINT)
    assert len(contrasts) > 100
    assert [each for each in contrasts if each[0] < 4.5] == []
