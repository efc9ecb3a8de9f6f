"""
Time each kind of camera and each way of binning against the plain one, in one process.

``python -m tests.bench.kinds`` prints the second table of ``tests/bench/README.md``: 4096 x 1800
delivered samples from a reference four times finer than an object pixel, already in memory. The
kinds take turns, seven times after one warm-up; the median is quoted.
"""

import statistics
import time
from collections.abc import Mapping
from typing import Any

import numpy as np

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.load import changed, setup_from

LINES, WIDTH, FINE = 1800, 4096, 4
REPEATS = 7
BASE = setup_from(
    {
        "title": "kinds",
        "target": {"image": "flat", "pixel_size": "18.75 um"},
        "transport": {"speed": "1 m/s"},
        "lens": {"magnification": 0.1, "blur": "2.25 um"},
        "light": {"illuminance": "20 klx"},
        "camera": {"pixels": WIDTH, "pixel_width": "7.5 um"},
    }
)
BINNED: dict[str, Any] = {
    "acquisition.binning": "2x2",
    "camera.pixels": 2 * WIDTH,
    "target.pixel_size": "37.5 um",
    "acquisition.exposure": "40 us",
}
DIGITAL = {**BINNED, "acquisition.binning_domain": "digital"}
COLOUR = {"camera.kind": "three-line", "camera.line_spacing": "30 um"}
KINDS: dict[str, Mapping[str, Any]] = {
    "mono": {},
    "three-line": COLOUR,
    "prism": {"camera.kind": "prism"},
    "TDI, 16 stages": {"camera.tdi_stages": 16, "acquisition.exposure": "5 us"},
    "flat field": {"acquisition.flat_field": True},
    "skew 0.1 deg": {"transport.skew": "0.1 deg"},
    "lateral wander 0.2 mm": {"transport.lateral_wander": "0.2 mm"},
    "flutter 0.5 mm": {"transport.flutter": "0.5 mm", "lens.focal_length": "60 mm"},
    "2x2 charge": BINNED,
    "2x2 digital sum": DIGITAL,
    "2x2 digital average": {**DIGITAL, "acquisition.binning_mode": "average"},
    "2x2 digital, lines": {**DIGITAL, "acquisition.binning_along": "lines"},
}
AGAINST = {name: "2x2 charge" if name.startswith("2x2") else "mono" for name in KINDS}


def measure() -> dict[str, float]:
    """Give the median wall time of each kind. [s]."""
    shape = (LINES * FINE, WIDTH * FINE)
    data = np.random.default_rng(1).random(shape, dtype=np.float32)
    setups = {name: changed(BASE, changes) for name, changes in KINDS.items()}
    taken: dict[str, list[float]] = {name: [] for name in KINDS}
    for _ in range(REPEATS + 1):
        for name, setup in setups.items():
            seen = ArrayReference(data=data, pixel_size_um=setup.target.pixel_size_um)
            start = time.perf_counter()
            render(setup, seen, LINES, 0)
            taken[name].append(time.perf_counter() - start)
    return {name: statistics.median(times[1:]) for name, times in taken.items()}


def main() -> None:
    """Print the table."""
    found = measure()
    print("| kind | wall s | times | of |")  # noqa: T201 -- the table is the output
    print("|---|---|---|---|")  # noqa: T201 -- the same
    for name, wall_s in found.items():
        against = AGAINST[name]
        ratio = wall_s / found[against]
        print(f"| {name} | {wall_s:.3f} | {ratio:.2f} | {against} |")  # noqa: T201 -- the same


if __name__ == "__main__":
    main()
