"""A small station for the preview's tests, a server that runs it, and its page in the browser."""

import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
from numpy.typing import NDArray
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement

from linesim.preview.serve import served
from linesim.setup.load import setup_from
from linesim.setup.setup import Setup
from tests.stations import plain_texts

# wide enough for two tiles of columns more than one, several strips, all sorts of noise
STATION: dict[str, Any] = plain_texts(
    "A small foil line",
    target={"image": "foil", "pixel_size": "25 um", "width": "14.4 mm", "height": "15 mm"},
    lens={"blur": "2 um"},
    light={"illuminance": "60 klx"},
    camera={"pixels": 192, "dsnu": "4 e", "prnu": 0.01},
    requirement={"smallest_defect": "300 um", "snr": 40},
)


@dataclass
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes

    def json(self) -> Any:  # noqa: ANN401 -- whatever the server says
        """Read it as JSON."""
        return json.loads(self.body)


@dataclass
class Look:
    """An answer to a look: its words, and the samples of the picture."""

    told: dict[str, Any]
    image: NDArray[np.uint16]
    expected_e: NDArray[np.float64]


def unpacked(body: bytes) -> Look:
    """Take an answer apart, as its docstring has it, by means of its own."""
    length = int.from_bytes(body[:4], "little")
    told = json.loads(body[4 : 4 + length])
    samples = np.frombuffer(body[4 + length :], dtype="<u2")
    if "picture" not in told:
        return Look(told, samples, samples.astype(np.float64))
    shape = [told["picture"][name] for name in ("lines", "columns", "channels")]
    image = samples[: np.prod(shape)].reshape(shape)
    codes = samples[image.size :].astype(np.float64)
    expected_e = told.get("largest_e", 0.0) * (codes / 65535) ** 2
    return Look(told, image, expected_e.reshape(shape) if codes.size else expected_e)


@dataclass
class Client:
    """Asks a server as a page does, or as somebody else."""

    address: str
    headers: dict[str, str] = field(default_factory=dict)

    def ask(
        self, method: str, path: str, body: bytes = b"", headers: dict[str, str] | None = None
    ) -> Answer:
        """Send one request to a path under the token."""
        return self.raw(method, urlsplit(self.address).path + path, body, headers)

    def raw(
        self, method: str, path: str, body: bytes = b"", headers: dict[str, str] | None = None
    ) -> Answer:
        """Send one request to a path as it stands."""
        at = urlsplit(self.address)
        wire = HTTPConnection(str(at.hostname), at.port, timeout=30)
        try:
            wire.request(method, path, body, {**self.headers, **(headers or {})})
            got = wire.getresponse()
            return Answer(got.status, {k.lower(): v for k, v in got.getheaders()}, got.read())
        finally:
            wire.close()

    def talk(self, path: str, ask: object) -> Any:  # noqa: ANN401 -- the same
        """Ask in JSON; answered in JSON."""
        return self.ask("POST", path, json.dumps(ask).encode()).json()

    def look(self, **ask: Any) -> Look:  # noqa: ANN401 -- what a page may say
        """Ask for figures and a picture, until the target has been drawn."""
        body = json.dumps({"number": 1, "client": "test", "changes": {}, **ask}).encode()
        while True:
            found = unpacked(self.ask("POST", "look", body).body)
            if not found.told.get("waiting"):
                return found


@contextmanager
def running(setup: Setup, name: str = "small.toml") -> Iterator[Client]:
    """Run a server in a thread while something is asked of it."""
    with served(setup, name, workers=2) as found:
        thread = threading.Thread(target=found.run)
        thread.start()
        try:
            yield Client(found.address)
        finally:
            found.server.should_exit = True
            thread.join(timeout=20)
            assert not thread.is_alive()


Serve = Callable[[Setup], AbstractContextManager[Client]]


@pytest.fixture(scope="session")
def serve() -> Serve:
    """Lend a server for a setup of one's own."""
    return running


@pytest.fixture(scope="session")
def station() -> Setup:
    """Check the small station."""
    return setup_from(STATION)


@pytest.fixture(scope="module")
def client(station: Setup) -> Iterator[Client]:
    """Serve the small station."""
    with running(station) as found:
        yield found


_ROWS = """
return [...document.querySelectorAll("#figures tbody tr")]
  .map((row) => [...row.children].map((each) => each.textContent
    .replace(/µm/g, "um").replace(/µs/g, "us").replace(/×/g, "x")));
"""
_SETTLED = """
const done = arguments[0];
const look = () => {
  if (globalThis.linesim && linesim.idle && linesim.answers.b && linesim.answers.b.picture
    && !document.getElementById("notice").textContent) {
    requestAnimationFrame(() => requestAnimationFrame(done));
  } else setTimeout(look, 4);
};
look();
"""
"""It waits in the page, which costs nothing; asking again and again takes a processor."""


def until(true: Callable[[], Any], what: str) -> Any:  # noqa: ANN401 -- whatever came true
    """Wait until something is true."""
    for _ in range(2000):
        found = true()
        if found:
            return found
        time.sleep(0.01)
    msg = f"never came: {what}"
    raise AssertionError(msg)


@dataclass
class Page:
    """The page in a browser, used as people use it."""

    driver: Chrome
    address: str
    downloads: Path

    def screen(self, width_px: int) -> None:
        """Give the page a screen of some width."""
        size = {"width": width_px, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)

    def scheme(self, name: str) -> None:
        """Let its reader want light or dark pages."""
        wanted = {"features": [{"name": "prefers-color-scheme", "value": name}]}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", wanted)

    def open(self, address: str) -> None:
        """Open it afresh; nothing stays of what was there."""
        self.driver.get("about:blank")
        self.driver.get(address)
        self.settled()

    def run(self, script: str) -> Any:  # noqa: ANN401 -- whatever the script gives
        """Run a script in the page."""
        return self.driver.execute_script(script)

    def settled(self) -> None:
        """Wait until the newest question is answered and shown."""
        self.driver.execute_async_script(_SETTLED)

    def one(self, name: str) -> WebElement:
        """Find an element by its id."""
        return self.driver.find_element(By.ID, name)

    def click(self, name: str) -> None:
        """Press a button, and wait for what comes of it."""
        if not self.one(name).is_displayed():
            self.more()
        self.one(name).click()
        self.settled()

    def more(self) -> None:
        """Open what stands behind the first controls."""
        if self.one("more").get_attribute("open") is None:
            self.driver.find_element(By.CSS_SELECTOR, "#more > summary").click()

    def control(self, key: str) -> WebElement:
        """Find a control, those behind the first ones too."""
        self.more()
        return self.driver.find_element(By.CSS_SELECTOR, f'[data-key="{key}"]')

    def typed(self, key: str, text: str) -> None:
        """Type a value, as people do."""
        field = self.control(key).find_element(By.CSS_SELECTOR, "input[type=text]")
        field.send_keys(Keys.CONTROL, "a")
        field.send_keys(text, Keys.TAB)
        self.settled()

    def picked(self, key: str, word: str) -> None:
        """Choose from a list or from tiles."""
        tiles = self.control(key).find_elements(By.CSS_SELECTOR, f'input[value="{word}"]')
        chosen = f'.//option[normalize-space()="{word}"]'
        (tiles[0] if tiles else self.control(key).find_element(By.XPATH, chosen)).click()
        self.settled()

    def rows(self) -> list[list[str]]:
        """Read all figures off the page, units as the console has them."""
        found: list[list[str]] = self.run(_ROWS)
        return found

    def changes(self) -> dict[str, Any]:
        """Give what the page has changed."""
        found: dict[str, Any] = self.run("return linesim.state.changes")
        return found

    def sums(self) -> tuple[int, int]:
        """Add up the samples of B, and count them."""
        text = "const i = linesim.answers.b.image; return [i.reduce((a, b) => a + b, 0), i.length]"
        total, count = self.run(text)
        return int(total), int(count)

    def log(self, kind: str) -> list[dict[str, Any]]:
        """Take what the browser has written down since this was last called."""
        found: list[dict[str, Any]] = self.driver.get_log(kind)  # type: ignore[no-untyped-call]
        return found

    def arrived(self, name: str) -> Path:
        """Wait until a download is there, whole."""
        file = self.downloads / name
        until(lambda: file.is_file() and not list(self.downloads.glob("*.crdownload")), name)
        return file


@pytest.fixture(scope="session")
def served_small(station: Setup) -> Iterator[Client]:
    """Serve the small station to the browser, in one server for all of its tests."""
    with running(station) as found:
        yield found


@pytest.fixture(scope="session")
def browser(driver: Chrome, downloads: Path, served_small: Client) -> Page:
    """Show the page's address to the browser."""
    return Page(driver, served_small.address, downloads)


@pytest.fixture
def page(browser: Page) -> Page:
    """Open the preview afresh, on a wide screen; what was said of other pages is forgotten."""
    browser.log("browser")
    browser.screen(1280)
    browser.scheme("light")
    browser.open(browser.address)
    return browser
