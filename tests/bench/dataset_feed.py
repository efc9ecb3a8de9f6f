"""
Images of 1024 x 1024 a second that a device feeds to a network, by `ScanStream`.

``.venv/bin/python -m tests.bench.dataset_feed --workers 0 8 14`` on the first CUDA device, or
``--device cpu``; needs the extra torch. Foil with six faults of all kinds in changing light, 64
images a scene. The clock starts once some images have come; the last of them is waited for.
``--profile`` lists what the process of the device does; ``--hold`` counts samples that differ from
numpy's, and labels.
"""

import argparse
import cProfile
import pstats
import sys
import tempfile
import time
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import tomli_w
import torch

from linesim.dataset.item import item
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.torch_sets import ScanStream, sample_of

PLAN = {
    "scenes": {"kind": "foil", "images_each": 64},
    "splits": {"train": 1.0, "val": 0.0, "test": 0.0},
    "vary": {"light": {"illuminance": "32 klx:48 klx"}},
    "faults": {"count": "0:1", "pinhole": {"count": "1:2"}},
    "images": {"lines": 1024, "good_share": 0.0},
}
MOVING = {**PLAN, "vary": {"transport": {"speed": "50 m/min:70 m/min", "speed_ripple": "0:0.03"}}}
FEW = {**PLAN, "scenes": {"kind": "foil", "images_each": 8}}
PLANS: dict[str, dict[str, Any]] = {
    "light alone varies": PLAN,
    "speed and ripple vary": MOVING,
    "8 images a scene": FEW,
}
FIRST = 160
"""Images that come before the clock starts: kernels are compiled for what they meet."""
_TOLD = 45


def waited(device: str) -> float:
    """Wait for the device; give the time. [s]."""
    if device.startswith("cuda"):
        torch.cuda.synchronize(device)
    return time.perf_counter()


def taken(samples: Iterator[Any], count: int, device: str) -> float:
    """Take so many images. [s]."""
    start = waited(device)
    for _ in islice(samples, count):
        pass
    return waited(device) - start


def hold(path: Path, device: str, count: int) -> str:
    """Hold some images against numpy's."""
    plan, off, total, labels = load_plan(path, count=10_000), 0, 0, 0
    stream = ScanStream(path, "train", count=10_000, device=device, raw=True)
    for image, target in islice(stream, count):
        known, beside = sample_of(item(plan, target["image_id"] - 1), raw=True)
        differ = (image.cpu() - known).abs()
        off, total = off + int((differ > 0).sum()), total + differ.numel()
        labels += all(
            torch.equal(target[key], beside[key]) for key in ("masks", "labels", "visible")
        )
    return f"{off / total:.2e} of samples differ from numpy's; {labels} of {count} have its labels"


def main() -> None:
    """Print a row for each number of workers."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--workers", type=int, nargs="+", default=[0, 4, 8, 14])
    parser.add_argument("--images", type=int, default=1200)
    parser.add_argument("--plans", nargs="+", default=list(PLANS), choices=PLANS)
    parser.add_argument("--hold", type=int, default=0)
    parser.add_argument("--profile", action="store_true")
    asked = parser.parse_args()
    say("| set | workers | images/s | s to the first images |\n|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for name in asked.plans:
            path = Path(folder) / f"{len(name)}.toml"
            path.write_text(tomli_w.dumps(PLANS[name]), "utf-8")
            for workers in asked.workers:
                say(row(name, path, workers, asked))
            if asked.hold:
                say(f"{name}: {hold(path, asked.device, asked.hold)}")


def row(name: str, path: Path, workers: int, asked: argparse.Namespace) -> str:
    """Time a stream; a row of the table."""
    count = max(asked.images if workers else asked.images // 20, 1)
    stream = ScanStream(path, "train", count=10_000, device=asked.device, workers=workers)
    samples = iter(stream)
    begun_s = taken(samples, FIRST if workers else 20, asked.device)
    seen = cProfile.Profile()
    if asked.profile:
        seen.enable()
    rate = count / taken(samples, count, asked.device)
    if asked.profile:
        seen.disable()
        pstats.Stats(seen, stream=sys.stdout).sort_stats("tottime").print_stats(_TOLD)
    samples.close()  # type: ignore[attr-defined]  # a generator, which ends its workers
    return f"| {name} | {workers} | {rate:.1f} | {begun_s:.1f} |"


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
