"""The preview page as axe-core judges it: wide and narrow, light and dark, with all controls."""

from typing import TYPE_CHECKING

import pytest

from tests.accessible import faults

if TYPE_CHECKING:
    from tests.preview.conftest import Page

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(
    ("width_px", "scheme"), [(1280, "light"), (390, "dark"), (1280, "dark"), (390, "light")]
)
def test_the_page_breaks_no_rule(page: "Page", width_px: int, scheme: str) -> None:
    """With A beside B and everything unfolded: on a desk and a phone, in both colour schemes."""
    page.more()
    page.click("pin")
    page.typed("light.illuminance", "2")
    page.screen(width_px)
    page.scheme(scheme)
    page.settled()
    assert faults(page.driver) == []


def test_a_broken_rule_is_found(page: "Page") -> None:
    """A picture without a name is one."""
    page.run("document.querySelector('#pane-b canvas').removeAttribute('aria-label')")
    assert [each.partition(":")[0] for each in faults(page.driver, ".sight")] == ["role-img-alt"]
