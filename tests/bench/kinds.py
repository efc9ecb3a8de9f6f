"""
Time each kind of camera and each way of binning against the plain one, in one process.

``python -m tests.bench.kinds [LINES]`` prints the second table of ``tests/bench/README.md``: 4096
columns by 600 lines, or as many as are asked for, from a reference four times finer than an object
pixel, already in memory. One thread; the kinds take turns, five times after one warm-up; the least
processor time is quoted.
"""

import sys
import time
from collections.abc import Mapping
from typing import Any

import numpy as np

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.load import changed, setup_from

WIDTH, FINE = 4096, 4
REPEATS = 5
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
    "blur of 10 pixels": {"lens.blur": "75 um"},
    "blur of 50 pixels": {"lens.blur": "375 um"},
    "blur of 5 mm": {"lens.blur": "5 mm"},
    "defocus of 25 pixels": {"lens.defocus": "82.5 mm"},
    "defocus of 50 pixels": {"lens.defocus": "165 mm"},
    "defocus of 150 pixels": {"lens.defocus": "495 mm"},
    "mono, reference in colours": {},
    "three-line, reference in colours": COLOUR,
    "prism, reference in colours": {"camera.kind": "prism"},
    "2x2 charge": BINNED,
    "2x2 digital sum": DIGITAL,
    "2x2 digital average": {**DIGITAL, "acquisition.binning_mode": "average"},
    "2x2 digital, lines": {**DIGITAL, "acquisition.binning_along": "lines"},
}
BESIDE = {"2x2": "2x2 charge", "colours": "mono, reference in colours"}


def against(name: str) -> str:
    """Name the kind that one is set against."""
    return next((other for words, other in BESIDE.items() if words in name), "mono")


def measure(lines: int) -> dict[str, float]:
    """Give the least processor time of each kind. [s]."""
    noise, shape = np.random.default_rng(1), (lines * FINE, WIDTH * FINE)
    grey = noise.random(shape, dtype=np.float32)
    colours = noise.random((*shape, 3), dtype=np.float32)
    setups = {name: changed(BASE, changes) for name, changes in KINDS.items()}
    taken: dict[str, list[float]] = {name: [] for name in KINDS}
    for _ in range(REPEATS + 1):
        for name, setup in setups.items():
            data = colours if "colours" in name else grey
            seen = ArrayReference(data=data, pixel_size_um=setup.target.pixel_size_um)
            start = time.process_time()
            render(setup, seen, lines, 0, workers=1)
            taken[name].append(time.process_time() - start)
    return {name: min(times[1:]) for name, times in taken.items()}


def main() -> None:
    """Print the table."""
    found = measure(int(sys.argv[1]) if len(sys.argv) > 1 else 600)
    sys.stdout.write("| kind | CPU s | times | of |\n|---|---|---|---|\n")
    for name, cpu_s in found.items():
        ratio = cpu_s / found[against(name)]
        sys.stdout.write(f"| {name} | {cpu_s:.3f} | {ratio:.2f} | {against(name)} |\n")


if __name__ == "__main__":
    main()
