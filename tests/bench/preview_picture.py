"""
Take the pictures of the preview page: ``python -m tests.bench.preview_picture``.

It needs chromium and chromedriver. The page is opened on screens of several sizes, in the dark and
on paper; it is pictured once the marks along its sliders, which come last, are there. The many
greys of a scan's noise would be most of a picture's size: they are rounded to every sixth.
"""

import base64
import io
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from shutil import which

import numpy as np
from PIL import Image
from selenium.webdriver import Chrome, ChromeOptions, ChromeService

from linesim.preview.serve import served
from linesim.setup.load import sample_setup

GALLERY = Path(__file__).parents[2] / "outputs" / "gallery"
BESIDE = (
    "b.light.illuminance=%2212%20klx%22&b.acquisition.binning=%222x2%22"
    "&pin=1&a.light.illuminance=%2212%20klx%22"
)
"""The light turned down to 12 klx, pinned as A; B is binned 2x2."""
_MARKED = """
return [...document.querySelectorAll(".first .bands ~ .said")].every((each) => each.textContent);
"""
_PATIENCE_S = 120
_GREYS, _COLOURS = 6, 96


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """One picture: how large the screen is, what is opened, and how."""

    name: str
    size_px: tuple[int, int]
    state: str = ""
    press: tuple[str, ...] = ()  # ids of what is pressed before
    dark: bool = False
    paper: bool = False


SCREENS = (
    Screen(name="preview", size_px=(1440, 900)),
    Screen(name="preview_beside", size_px=(1024, 768), state=BESIDE, press=("trace", "put-in")),
    Screen(name="preview_phone", size_px=(390, 844)),
    Screen(name="preview_dark", size_px=(1440, 900), state=BESIDE, press=("wipe",), dark=True),
    # A4 across less its margins of 10 mm, at 96 pixels an inch
    Screen(name="preview_print", size_px=(1047, 718), state=BESIDE, paper=True),
)


def browser() -> Chrome:
    """Start Debian's Chromium, without a window."""
    options = ChromeOptions()
    options.binary_location = which("chromium") or "chromium"
    for switch in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(switch)
    service = ChromeService(executable_path=which("chromedriver") or "chromedriver")
    return Chrome(options=options, service=service)


def sized(page: Chrome, size_px: tuple[int, int]) -> None:
    """Give the page a screen."""
    wide, tall = size_px
    wanted = {"width": wide, "height": tall, "deviceScaleFactor": 1, "mobile": False}
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", wanted)


def opened(page: Chrome, address: str, screen: Screen) -> None:
    """Open the page, press what is to be pressed, and wait for all that comes."""
    sized(page, (1440, 900) if screen.paper else screen.size_px)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if screen.dark else "light"}
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": [scheme]})
    page.get("about:blank")
    page.get(f"{address}#{screen.state}")
    time.sleep(3)
    for name in screen.press:
        page.execute_script(f"document.getElementById('{name}').click()")
    end_s = time.monotonic() + _PATIENCE_S
    while not page.execute_script(_MARKED) and time.monotonic() < end_s:
        time.sleep(0.5)


def pictured(page: Chrome, screen: Screen) -> Image.Image:
    """Take the picture; of paper, of the page laid out as it is printed."""
    if screen.paper:
        page.execute_script("dispatchEvent(new Event('beforeprint'))")
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        sized(page, screen.size_px)
        time.sleep(1)
    taken = page.execute_cdp_cmd("Page.captureScreenshot", {})["data"]
    return Image.open(io.BytesIO(base64.b64decode(taken))).convert("RGB")


def small(taken: Image.Image) -> Image.Image:
    """Give it a palette of every sixth grey, and of the colours that it has most."""
    codes = np.asarray(taken)
    coloured = Image.fromarray(codes[np.ptp(codes, axis=2) >= _GREYS][None])
    greys = np.repeat([*range(0, 255, _GREYS), 255], 3).tolist()
    palette = Image.new("P", (1, 1))
    palette.putpalette(greys + (coloured.quantize(_COLOURS).getpalette() or []))
    return taken.quantize(palette=palette, dither=Image.Dither.NONE)


def main() -> None:
    """Open the page on each screen, and keep what is seen."""
    with served(sample_setup(), "the built-in sample") as found:
        thread = threading.Thread(target=found.run)
        thread.start()
        page = browser()
        try:
            for screen in SCREENS:
                opened(page, found.address, screen)
                kept = small(pictured(page, screen))
                kept.save(GALLERY / f"{screen.name}.png", optimize=True)
        finally:
            page.quit()
            found.server.should_exit = True
            thread.join(_PATIENCE_S)


if __name__ == "__main__":
    main()
