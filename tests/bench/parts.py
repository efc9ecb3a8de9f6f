"""
Where the time of a scan goes: ``python -m tests.bench.parts`` prints the table.

4096 x 1800 samples from a reference four times finer, as in the speed table, one thread, so that
the parts add up; the least of five runs of each part.
"""

import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

import numpy as np

from linesim.forward import render
from linesim.forward.capture import Capturer
from linesim.forward.reference import ArrayReference
from linesim.forward.sampling import along_products
from linesim.forward.sampling import sampler as sampling
from linesim.forward.sampling.across_runs import AcrossRun
from linesim.setup.load import setup_from

LINES, WIDTH, FINE = 1800, 4096, 4
RUNS = 5
Took = defaultdict[str, float]
PARTS = (
    (render, "both_halves", "tables of lens and columns, once a scan"),
    (sampling, "along_table", "weights of the lines"),
    (along_products, "_take", "reference read, into a block that fits the cache"),
    (sampling, "along_products", "along product, reading included"),
    (AcrossRun, "product", "across product"),
    (render, "seen_together", "first half in all"),
    (Capturer, "strip", "noise, limits and numbers"),
)


def timed(call: Callable[..., Any], name: str, took: Took) -> Callable[..., Any]:
    """Add up what calls take."""

    def run(*args: Any, **options: Any) -> Any:  # noqa: ANN401 -- whatever it is
        begun = time.perf_counter()
        try:
            return call(*args, **options)
        finally:
            took[name] += time.perf_counter() - begun

    return run


@contextmanager
def watched(took: Took) -> Iterator[None]:
    """Time every part while it lasts."""
    patches = [
        patch.object(home, name, timed(getattr(home, name), words, took))
        for home, name, words in PARTS
    ]
    for each in patches:
        each.start()
    try:
        yield
    finally:
        for each in patches:
            each.stop()


def main() -> None:
    """Print the table."""
    setup = setup_from(
        {
            "title": "parts",
            "target": {"image": "flat", "pixel_size": "18.75 um"},
            "transport": {"speed": "1 m/s"},
            "lens": {"magnification": 0.1, "blur": "2.25 um"},
            "light": {"illuminance": "40 klx"},
            "camera": {"pixels": WIDTH, "pixel_width": "7.5 um"},
        }
    )
    shape = (LINES * FINE, WIDTH * FINE)
    data = np.random.default_rng(1).random(shape, dtype=np.float32)
    seen = ArrayReference(data=data, pixel_size_um=18.75)
    least: dict[str, float] = {}
    for _ in range(RUNS):
        took: Took = defaultdict(float)
        with watched(took):
            begun = time.perf_counter()
            render.render(setup, seen, LINES, 0, workers=1)
            took["all"] = time.perf_counter() - begun
        least = {name: min(took[name], least.get(name, np.inf)) for name in took}
    sys.stdout.write("| part | ms | ns a sample |\n|---|---|---|\n")
    for name, seconds in least.items():
        each_ns = 1e9 * seconds / (LINES * WIDTH)
        sys.stdout.write(f"| {name} | {1000 * seconds:.0f} | {each_ns:.1f} |\n")


if __name__ == "__main__":
    main()
