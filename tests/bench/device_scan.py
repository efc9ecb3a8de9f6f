"""
Whole scans on a device beside its kernels, and beside the numpy path of the same machine.

``python -m tests.bench.device_scan``. "Kernels" are those of ``tests/bench/gpu.py``, the random
words being there; "numbers here" all that ``scan --stream`` does but for the file: tables of the
lines, numpy's noise, samples in this process; "with electrons" what ``scan`` renders, its tables
anew.
"""

import time
from collections.abc import Callable

import numpy as np
import torch

from linesim.forward.device.render import DeviceReference
from linesim.forward.device.scans import device_runs, render_by
from linesim.forward.device.windows import Windows
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.setup import Setup
from tests.bench.gpu_rows import (
    machine,
    numbers_of,
    queued_s,
    reference_on,
    say,
    station_for,
    waited,
)

SIZES = ((4096, 1800), (4096, 16384), (8192, 8192), (16384, 16384))
_MOST_HELD = 1 << 27
"""Samples up to which numpy renders the same, to be held against."""


def best_s(task: Callable[[], object], device: torch.device) -> float:
    """Time a task that is waited for: the least of five. [s]."""
    taken = []
    for _ in range(5):
        start = waited(device)
        task()
        taken.append(waited(device) - start)
    return min(taken)


def row(size: tuple[int, int], device: torch.device) -> None:
    """Time one size, and print it."""
    width, lines = size
    setup, pitch_um = station_for(width, "1x1")
    seen, name = reference_on(size, pitch_um, device), str(device)
    runs = device_runs(setup, seen, 0, name)
    kernels_s = kernels_of(setup, runs.renderers[0].windows([0], lines, [0]), device)
    streamed_s = best_s(lambda: list(runs.filled(range(lines), lambda *_: None, None)), device)
    tables_s = best_s(lambda: device_runs(setup, seen, 0, name), device)
    whole_s = best_s(lambda: render_by(name)(setup, seen, lines, 0), device)
    beside = beside_numpy(setup, seen, lines) if width * lines < _MOST_HELD else "| | |"
    say(
        f"| {width} x {lines} | {1e3 * kernels_s:.2f} | {1e3 * streamed_s:.1f} "
        f"| {streamed_s / kernels_s:.1f} | {1e3 * tables_s:.0f} | {1e3 * whole_s:.0f} {beside}"
    )


def kernels_of(setup: Setup, window: Windows, device: torch.device) -> float:
    """Time sampling and drawing alone. [s]."""
    drawn = numbers_of(setup, window)
    drawn(window.pixels_e(0)[0, 0])
    return queued_s(lambda: drawn(window.pixels_e(0)[0, 0]), device, 5)


def beside_numpy(setup: Setup, seen: DeviceReference, lines: int) -> str:
    """Render the same by numpy: its time, and the share of samples that differ."""
    held = ArrayReference(data=seen.data.cpu().numpy(), pixel_size_um=seen.pixel_size_um)
    made = render_by(str(seen.data.device))(setup, seen, lines, 0)
    start = time.perf_counter()
    known = render(setup, held, lines, 0)
    numpy_s = time.perf_counter() - start
    return f"| {1e3 * numpy_s:.0f} | {np.mean(made.image != known.image):.1e} |"


def main() -> None:
    """Print everything."""
    device = torch.device("cuda")
    say(machine(device))
    say(
        "\n| scan | kernels ms | numbers here ms | times the kernels | tables across ms "
        "| with electrons ms | numpy ms | share of samples that differ |\n" + "|---" * 8 + "|"
    )
    for size in SIZES:
        row(size, device)
        torch.cuda.empty_cache()


if __name__ == "__main__":
    main()
