"""
What drawn targets cost a reference pixel: ``python -m tests.bench.target_speed [TREE]``.

CPU time in one thread, rows taken in blocks of 256 as a scan takes them, nothing kept from drawing
the same before. With the top folder of another tree of linesim, both are measured in turns, each
in processes of its own, the least of some. `extend` makes webs from a photograph of scikit-image.
"""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from skimage import data

from linesim.forward.reference import Reference
from linesim.targets.catalogue import BUILT_INS, make
from linesim.targets.extend.grain import grain
from linesim.targets.extend.quilt import quilt

ROOT = Path(__file__).parents[2]
TURNS, ROWS = 2, 256
SIDES = ("rows", "heights", "transmittance", "gloss_share")
LARGE = {
    "tile, 20 um": ("tile", 20.0, 330.0, 12.0),
    "tile, 23 um": ("tile", 23.0, 330.0, 12.0),
    "glaze, 20 um": ("glaze", 20.0, 330.0, 12.0),
    "foil, 10 um": ("foil", 10.0, 200.0, 3.0),
}
"""Wide targets with fine pixels: what a name is made of, pixel size [um], width and height [mm]."""


def cases() -> dict[str, Callable[[], Reference]]:
    """Name all targets."""
    own = {each.name: partial(make, each.name) for each in BUILT_INS}
    large = {
        name: partial(make, kind, pixel_size_um=pixel_um, width_mm=wide_mm, height_mm=high_mm)
        for name, (kind, pixel_um, wide_mm, high_mm) in LARGE.items()
    }
    return {**own, **large}


def drawn_ns(target: Reference, side: str) -> float:
    """Give the CPU time of drawing a side of a target once, a pixel. [ns]."""
    rows, columns = target.shape[:2]
    start = time.process_time()
    for first in range(0, rows, ROWS):
        getattr(target, side)(first, min(first + ROWS, rows))
    return (time.process_time() - start) * 1e9 / (rows * columns)


def extended_ns(name: str) -> float:
    """Give the CPU time of a web from a photograph, a pixel. [ns]."""
    photograph = (getattr(data, "gravel")() / 255).astype("float32")  # noqa: B009 -- untyped
    surface = (grain if name == "grain" else quilt)(photograph)
    start = time.process_time()
    for _ in surface.strips(1024, 1024, 0):
        pass
    return (time.process_time() - start) * 1e9 / 1024**2


def measure() -> None:
    """Print a line a side of a target: its name, pixels, and time."""
    for name, made in cases().items():
        for side in SIDES:
            if hasattr(made(), side):
                taken, (rows, columns) = drawn_ns(made(), side), made().shape[:2]
                sys.stdout.write(f"{name}, {side}|{columns} x {rows}|{taken}\n")
    for name in ("grain", "quilt"):
        sys.stdout.write(f"extend, {name}|1024 x 1024|{extended_ns(name)}\n")


def measured(tree: Path) -> dict[tuple[str, str], float]:
    """Measure a tree in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--here"],
        env={**os.environ, "PYTHONPATH": str(tree)},
        check=True,
        capture_output=True,
        text=True,
    )
    lines = (line.split("|") for line in done.stdout.splitlines())
    return {(name, size): float(least_ns) for name, size, least_ns in lines}


def main() -> None:
    """Print a row a side of a target."""
    if sys.argv[1:] == ["--here"]:
        measure()
        return
    trees = [*map(Path, sys.argv[1:]), ROOT]
    found = [[measured(tree) for tree in trees] for _ in range(TURNS)]
    heads = ["target, side", "pixels", *("before", "now, ns a pixel")[-len(trees) :]]
    sys.stdout.write(f"| {' | '.join(heads)} |\n{'|---' * len(heads)}|\n")
    for name, size in found[0][0]:
        least = [min(turn[k][name, size] for turn in found) for k in range(len(trees))]
        cells = " | ".join(f"{each:.1f}" for each in least)
        sys.stdout.write(f"| {name} | {size} | {cells} |\n")


if __name__ == "__main__":
    main()
