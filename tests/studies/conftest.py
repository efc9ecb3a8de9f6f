"""Reports to be opened in the browser of ``tests/browser.py``."""

from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from linesim.report.page import Wanted, write_pages
from linesim.setup.load import changed, setup_from
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.compare.page import write_compare_report
from linesim.studies.compare.study import compare
from linesim.studies.rank.page import rank_page
from linesim.studies.rank.space import load_space
from linesim.studies.rank.study import rank
from linesim.studies.scan.page import write_scan_report
from linesim.studies.scan.study import scan
from linesim.studies.vary.page import vary_page
from linesim.studies.vary.study import vary

if TYPE_CHECKING:
    from selenium.webdriver import Chrome

BOTH = Wanted(one_page=True)
LIGHTS = {"light.illuminance": "10klx:1000klx:log4"}
# a wide foil in too much light: long words, many cautions, verdicts of both kinds, two dividers
STATION: dict[str, Any] = {
    "title": "A title with aVeryLongWordThatGoesOnWithoutAnySpaceAtAllAndOnAndOnAndOn <b>",
    "target": {"image": "foil", "pixel_size": "40 um", "width": "24 mm", "height": "16 mm"},
    "transport": {"speed": "60 m/min", "skew": "0.5 deg"},
    "lens": {"magnification": 0.1},
    "light": {"illuminance": "900 klx", "flicker": 0.1},
    "camera": {"kind": "prism", "pixels": 320, "pixel_width": "7.5 um"},
    "requirement": {"smallest_defect": "300 um", "snr": 5000},
}
SPACE = """\
setup = "base.toml"
[options]
"lens.f_number" = [2.8, 4.0]
"acquisition.binning" = ["1x1", "2x2"]
"transport.speed" = ["30 m/min", "60 m/min"]
"light.illuminance" = "10klx:1000klx:log4"
[requirement]
snr = 60
"""


def _ranked(folder: Path, mono: Setup) -> Path:
    (folder / "base.toml").write_text(resolved_text(mono, folder), "utf-8")
    (folder / "space.toml").write_text(SPACE, "utf-8")
    return write_pages(folder, rank_page(rank(load_space(folder / "space.toml"))))[0]


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], str]:
    """Give a function that writes a report, once; it is opened from the disk."""
    setup = setup_from(STATION)
    mono = changed(setup, {"camera.kind": "mono"})
    modes = ("1x1", "2x1", "1x2", "2x2", "2x2 digital")
    makers: dict[str, Callable[[Path], Path]] = {
        "scan": lambda folder: write_scan_report(scan(setup), folder)[0],
        "rank": lambda folder: _ranked(folder, mono),
        "compare": lambda folder: write_compare_report(compare(mono, modes), folder, BOTH)[0],
        "vary": lambda folder: write_pages(folder, vary_page(vary(mono, LIGHTS), ()))[0],
    }
    whole = cache(lambda name: makers[name](tmp_path_factory.mktemp(name)).as_uri())
    parts: dict[str, Callable[[], str]] = {
        "none": lambda: "about:blank",
        "one page": lambda: whole("compare").replace("report", "one_page"),
    }
    return lambda name: parts[name]() if name in parts else whole(name)


@pytest.fixture
def opened(driver: "Chrome", address: Callable[[str], str]) -> "Callable[[str, int], Chrome]":
    """Give a function that opens a report to look at, on a screen of some width, once in a row."""

    def screened(name: str, width_px: int) -> "Chrome":
        size = {"width": width_px, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        if driver.current_url != address(name):
            driver.get(address(name))
        return driver

    return screened


@pytest.fixture
def page(opened: "Callable[[str, int], Chrome]") -> "Iterator[Chrome]":
    """Open the report of a scan afresh, on a wide screen, for hands on it; leave none open."""
    opened("none", 1280)
    yield opened("scan", 1280)
    opened("none", 1280)


@pytest.fixture
def seen(opened: "Callable[[str, int], Chrome]") -> "Chrome":
    """Show the report of a scan, on a wide screen, to those who only look."""
    return opened("scan", 1280)
