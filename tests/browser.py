"""
The browser that all pages are looked at with: one in a run, for it takes long to start.

Chromium and its driver come from the system's packages (on Debian ``chromium chromium-driver``);
nothing is downloaded by the tests.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from shutil import which
from typing import Any

import pytest
from selenium.webdriver import Chrome, ChromeOptions, ChromeService

BROWSERS = ("chromium", "chromium-browser")
SWITCHES = ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage")


@contextmanager
def started(downloads: Path) -> Iterator[Chrome]:
    """Start a browser that writes down what it asks for, where the system has one."""
    browser, service = next(filter(None, map(which, BROWSERS)), None), which("chromedriver")
    if browser is None or service is None:
        pytest.skip("needs chromium and chromedriver: apt-get install chromium chromium-driver")
    options = ChromeOptions()
    options.binary_location = browser
    for switch in SWITCHES:
        options.add_argument(switch)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    found = Chrome(options=options, service=ChromeService(executable_path=service))
    where: dict[str, Any] = {"behavior": "allow", "downloadPath": str(downloads)}
    found.execute_cdp_cmd("Browser.setDownloadBehavior", where)
    try:
        yield found
    finally:
        found.quit()
