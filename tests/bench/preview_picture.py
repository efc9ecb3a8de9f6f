"""
Take the picture of the preview page: ``python -m tests.bench.preview_picture``.

It needs chromium and chromedriver. Light turned down to 12 klx, pinned as A; B is binned 2x2.
"""

import threading
import time
from pathlib import Path
from shutil import which

from selenium.webdriver import Chrome, ChromeOptions, ChromeService

from linesim.preview.serve import served
from linesim.setup.load import sample_setup

PICTURE = Path(__file__).parents[2] / "outputs" / "gallery" / "preview.png"
STATE = (
    "b.light.illuminance=%2212%20klx%22&b.acquisition.binning=%222x2%22"
    "&pin=1&a.light.illuminance=%2212%20klx%22"
)
SIZE = (1440, 900)
_PATIENCE_S = 60


def browser() -> Chrome:
    """Start Debian's Chromium, without a window."""
    options = ChromeOptions()
    options.binary_location = which("chromium") or "chromium"
    for switch in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(switch)
    service = ChromeService(executable_path=which("chromedriver") or "chromedriver")
    return Chrome(options=options, service=service)


def main() -> None:
    """Open the page in a state, wait for both pictures, and keep what is seen."""
    with served(sample_setup(), "the built-in sample") as found:
        thread = threading.Thread(target=found.run)
        thread.start()
        page = browser()
        try:
            page.set_window_size(*SIZE)
            # the window's frame takes some of its height
            gap = SIZE[1] - int(page.execute_script("return innerHeight"))
            page.set_window_size(SIZE[0], SIZE[1] + gap)
            page.get(f"{found.address}#{STATE}")
            time.sleep(10)  # marks along the sliders come last
            page.save_screenshot(str(PICTURE))
        finally:
            page.quit()
            found.server.should_exit = True
            thread.join(_PATIENCE_S)


if __name__ == "__main__":
    main()
