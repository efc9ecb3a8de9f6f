"""
How long the preview page waits for an answer, a control at a time.

``python tests/bench/preview_latency.py [SETUP] [ROUNDS]`` starts the page's server, asks over HTTP
as the page does, for 1024 x 768 samples at full resolution, and prints the median and the 95th
percentile of each control, from the first byte sent to the last one received. First come drags:
"moving" are their quick pictures, "let go" the exact one that is asked for while a quick one is
under way, "beside 5 mm of blur" quick ones while such a blur is worked out. Changes of noise and
numbers alone follow. The last rows wait for a target to be drawn, and for windows that pan and
zoom.
"""

import json
import sys
import threading
import time
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from linesim.forward.station import station
from linesim.preview.control_kinds import SHARE
from linesim.preview.serve import served
from linesim.setup.load import load_setup, sample_setup
from linesim.setup.setup import Setup

COLUMNS, LINES = 1024, 768
NOISE = ("seed", "camera.gain", "camera.read_noise", "camera.full_well", "camera.bit_depth")
BINNINGS = ("1x1", "2x1", "1x2", "2x2", "3x3", "4x4")


def values(key: str, count: int) -> Iterator[Any]:
    """Give values for a control, no two neighbours the same."""
    rng = np.random.default_rng(7)
    for k in range(count):
        share = float(rng.uniform())
        yield {
            "seed": k + 1,
            "camera.gain": f"{0.02 * 10**share:.4g} DN/e",
            "camera.read_noise": f"{5 + 45 * share:.4g} e",
            "camera.full_well": f"{30 + 90 * share:.4g} ke",
            "camera.bit_depth": (8, 10, 12, 14, 16)[k % 5],
            "light.illuminance": f"{5 + 70 * share:.5g} klx",
            "transport.speed": f"{20 + 100 * share:.5g} m/min",
            SHARE: round(0.2 + 0.8 * share, 4),
            "lens.f_number": round(2 + 8 * share, 3),
            "lens.defocus": f"{2 * share:.4g} mm",
            "lens.blur": f"{5 * share:.4g} um",
            "acquisition.binning": BINNINGS[k % len(BINNINGS)],
            "acquisition.binning_domain": ("charge", "digital")[k % 2],
            "acquisition.line_rate": ("matched", "square")[k % 2],
        }[key]


class Page:
    """Ask as the page does."""

    def __init__(self, address: str, setup: Setup, *, coarse: bool = False) -> None:
        self.coarse = coarse
        at = urlsplit(address)
        self.wire = HTTPConnection(str(at.hostname), at.port, timeout=60)
        self.path = f"{at.path}look"
        numbers = station(setup)
        width_mm = COLUMNS * float(numbers.geometry.object_pixel_x_um) / 1000
        height_mm = LINES * float(numbers.timing.line_advance_um) / 1000
        self.window = {
            "left_mm": -width_mm / 2,
            "top_mm": 0.0,
            "width_mm": width_mm * (1 - 1e-9),
            "height_mm": height_mm * (1 - 1e-9),
        }
        self.optical: str | None = None
        self.samples = 0

    def once(self, changes: dict[str, Any], seed: int = 0, **window: float) -> tuple[float, bool]:
        """Give the seconds that one answer takes, and whether a target is still being drawn."""
        ask = {
            "number": 1,
            "client": "bench",
            "coarse": self.coarse,
            "changes": changes,
            "seed": seed,
            "window": {**self.window, **window},
            "have": self.optical,
        }
        begun = time.perf_counter()
        self.wire.request("POST", self.path, json.dumps(ask), {"content-type": "application/json"})
        body = self.wire.getresponse().read()
        seconds = time.perf_counter() - begun
        if body.startswith(b"{"):  # what took its place has been asked for
            return seconds, False
        told = json.loads(body[4 : 4 + int.from_bytes(body[:4], "little")])
        if "faults" in told:
            msg = f"refused: {told['faults']}"
            raise SystemExit(msg)
        if "picture" in told:
            self.optical = told["optical"]
            self.samples = told["picture"]["lines"] * told["picture"]["columns"]
        return seconds, bool(told.get("waiting"))

    def until_drawn(self, changes: dict[str, Any]) -> float:
        """Give the seconds until the picture is there, asking again as the page does."""
        seconds, waiting = self.once(changes)
        while waiting:
            time.sleep(0.1)
            more, waiting = self.once(changes)
            seconds += 0.1 + more
        return seconds


def told(name: str, times: list[float], samples: int) -> None:
    """Print one row."""
    middle, late = (1000 * float(np.percentile(times, q)) for q in (50, 95))
    sys.stdout.write(f"{name:<32}{samples:>9} samples {middle:8.1f} ms {late:8.1f} ms\n")
    sys.stdout.flush()


def dragged(page: Page, quick: Page, keys: list[str], rounds: int) -> None:
    """Move each control as a hand does, and let it go; then while a large blur is under way."""
    for key in keys:
        quick.wire.close()  # a server closes what rests for seconds
        quick.once({key: next(values(key, 1))})
        told(
            f"{key}, moving", [quick.once({key: k})[0] for k in values(key, rounds)], quick.samples
        )
        page.wire.close()
        after = []
        for each in list(values(key, rounds))[: max(3, rounds // 4)]:
            last = threading.Thread(target=quick.once, args=({key: each},))
            last.start()
            time.sleep(0.01)
            after.append(page.once({key: each})[0])
            last.join()
            page.once({})
        told(f"{key}, let go", after, page.samples)
    page.wire.close()
    slow = threading.Thread(target=page.once, args=({"lens.blur": "5 mm"},))
    slow.start()
    time.sleep(0.3)
    moves = [quick.once({keys[0]: each})[0] for each in values(keys[0], 3)]
    told("beside 5 mm of blur", moves, quick.samples)
    slow.join()


def measure(page: Page, keys: list[str], rounds: int) -> None:
    """Move each control, then the window, then the target."""
    for key in keys:
        page.once({})
        times = [
            page.once({}, seed=each)[0] if key == "seed" else page.once({key: each})[0]
            for each in values(key, rounds)
        ]
        told(key + (" (noise alone)" if key in NOISE else ""), times, page.samples)
    top = page.window["height_mm"] / LINES
    told("pan by a line", [page.once({}, top_mm=k * top)[0] for k in range(rounds)], page.samples)
    side = {name: page.window[name] / 8 for name in ("width_mm", "height_mm")}
    told("zoomed in", [page.once({}, s, **side)[0] for s in range(rounds)], page.samples)
    for name in ("flat", "bars", "edge", "steps", "star", "foil", "tile"):
        first = page.once({"target": name})[0]
        told(f"first answer, target {name}", [first], page.samples)
        told(f"picture, target {name}", [first + page.until_drawn({"target": name})], page.samples)


def main() -> None:
    """Measure one setup."""
    setup = load_setup(Path(sys.argv[1])) if len(sys.argv) > 1 else sample_setup()
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    lit = "light.illuminance" if setup.light.irradiance_w_m2 is None else ""
    moved = [lit, "transport.speed", SHARE, "lens.f_number", "lens.defocus", "lens.blur"]
    picked = [f"acquisition.{each}" for each in ("binning", "binning_domain", "line_rate")]
    with served(setup, "bench") as found:
        thread = threading.Thread(target=found.run)
        thread.start()
        try:
            page = Page(found.address, setup)
            page.until_drawn({})
            sys.stdout.write(f"{'moved':<32}{'':>17} {'median':>8}    {'95 %':>8}\n")
            quick = Page(found.address, setup, coarse=True)
            dragged(page, quick, [each for each in moved if each], rounds)
            measure(page, [each for each in (*NOISE, *moved, *picked) if each], rounds)
        finally:
            found.server.should_exit = True
            thread.join()


if __name__ == "__main__":
    main()
