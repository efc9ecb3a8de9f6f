"""
What a face with relief costs, beside a matt one: ``python -m tests.bench.surface [DEVICE]``.

Three stations over one target of 14,336 x 4,200 pixels, 4096 x 1200 samples: matt, relief under an
endless lamp, and relief seen by a wide lens, whose tables differ along the line. Least of some
runs, tables made and files read before. On a device a run is all that changes with the lamp:
look-up and render, the matt part and the heights being uploaded each time.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
from scipy.ndimage import gaussian_filter

from linesim.forward.device.render import device_renderer
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference

RUNS, ROWS, COLUMNS, LINES = 5, 4200, 14_336, 1200
FACE: dict[str, Any] = {
    "target.gloss": 0.5,
    "target.rms_slope": 0.05,
    "target.relief": "relief.tif",
    "target.relief_range": "20 um",
    "light.arrangement": "line",
    "light.angle": "20 deg",
    "light.angular_width": "10 deg",
}


def stations(folder: Path) -> dict[str, Setup]:
    """Draw a target and its relief, and give the stations."""
    noise = np.random.default_rng(0).standard_normal((ROWS, COLUMNS), dtype=np.float32)
    heights = gaussian_filter(noise, 4)
    heights = (heights - heights.min()) / np.ptp(heights)
    iio.imwrite(folder / "relief.tif", (heights * 65535).astype(np.uint16))
    iio.imwrite(folder / "matt.tif", np.where(heights > heights.mean(), 160, 100).astype(np.uint8))
    matt = setup_from(
        {
            "title": "Cost of a face",
            "target": {"image": "matt.tif", "encoding": "linear", "pixel_size": "20 um"},
            "transport": {"speed": "60 m/min"},
            "lens": {"magnification": 0.1},
            "light": {"illuminance": "20 klx"},
            "camera": {"pixels": 4096, "pixel_width": "7 um", "angle": "20 deg"},
        },
        folder,
    )
    relief = changed(matt, FACE)
    wide = changed(relief, {"lens.focal_length": "60 mm"})
    return {"matt": matt, "relief": relief, "relief, wide lens": wide}


def least(run: Callable[[], object], clock: Callable[[], float]) -> float:
    """Give the least of some runs, the first not counted. [s]."""
    run()
    taken = []
    for _ in range(RUNS):
        start = clock()
        run()
        taken.append(clock() - start)
    return min(taken)


def on_device(setup: Setup, device: str) -> Callable[[], object]:
    """Give a run on a device that ends when its electrons are there."""
    import torch  # noqa: PLC0415 -- an extra

    def run() -> object:
        seen = lit_reference(setup, target_reference(setup))
        seen_e = device_renderer(setup, seen, device=device).windows([0], LINES, [0]).pixels_e(0)
        if seen_e.is_cuda:
            torch.cuda.synchronize()
        return seen_e

    return run


def main() -> None:
    """Print a row a station."""
    device = sys.argv[1] if len(sys.argv) > 1 else ""
    first: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, setup in stations(Path(folder)).items():
            scanned = changed(setup, {"acquisition.lines": LINES})
            taken = {"numpy, CPU s": least(partial(scan, scanned, force=True), time.process_time)}
            if device:
                taken[f"{device}, s"] = least(on_device(setup, device), time.perf_counter)
            for way, seconds in taken.items():
                ratio = seconds / first.setdefault(way, seconds)
                sys.stdout.write(f"{name:20} {way:14} {seconds:7.3f}  {ratio:5.2f}\n")


if __name__ == "__main__":
    main()
