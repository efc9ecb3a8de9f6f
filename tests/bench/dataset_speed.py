"""
Speed of `linesim dataset`: images a second, what a worker's time goes into, memory over a long run.

Run with ``.venv/bin/python -m tests.bench.dataset_speed``. Each way has processes of its own, which
make one image first (imports, tables, the scene) and then start together. With ``--million`` it
makes a thousand images of a plan instead, and says what a million will take (`dataset_million.py`).
"""

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from multiprocessing import get_context
from multiprocessing.queues import Queue
from multiprocessing.synchronize import Barrier
from pathlib import Path
from typing import Any

from linesim.dataset import item as item_module
from linesim.dataset import write as write_module
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import plan_from
from linesim.dataset.write import write_image
from linesim.forward.render import render
from linesim.workers.tasks import Alone
from tests.bench.dataset_million import million

PLANS: dict[str, dict[str, Any]] = {
    "no faults, PNG": {"images": {"good_share": 1.0}},
    "six faults, PNG": {},
    "six faults, TIFF": {"images": {"format": "tiff"}},
    "six small faults, PNG": {
        "faults": {"kinds": ["pinhole", "spot", "scratch", "hole"], "count": "1:2"}
    },
}
SMALL = {"scenes": {"images_each": 20}, "vary": {"camera": {"pixels": 96}}, "images": {"lines": 96}}
WAYS = {"1 worker": (1, 1), "2 workers": (2, 1), "1 process, 2 threads": (1, 2)}
"""Workers, and threads of each."""
STAGES = ("item", "_write_samples", "write_png", "write_text", "write_json")


def plan_of(parts: dict[str, Any]) -> Plan:
    """Plan images of 1024 x 1024 of foil in changing light, 64 of each scene."""
    return plan_from(
        {
            "scenes": {"kind": "foil", "images_each": 64},
            "vary": {"light": {"illuminance": "32 klx:48 klx"}},
            "faults": {"count": "0:1", "pinhole": {"count": "1:2"}, **parts.get("faults", {})},
            "images": {"lines": 1024, "good_share": 0.0, **parts.get("images", {})},
            "labels": {"box_files": True},
        }
    )


def timed(seconds: dict[str, float], name: str, work: Callable[..., Any]) -> Callable[..., Any]:
    """Add up what a function takes."""

    def run(*given: Any, **named: Any) -> Any:  # noqa: ANN401 -- whatever it takes
        start = time.perf_counter()
        done = work(*given, **named)
        seconds[name] += time.perf_counter() - start
        return done

    return run


def work(
    parts: dict[str, Any], indices: range, threads: int, gate: Barrier, told: "Queue[Any]"
) -> None:
    """Make images in a process of its own; tell wall time, CPU time and the time of each stage."""
    plan = plan_of(parts)
    setattr(item_module, "render", partial(render_with, threads))  # noqa: B010 -- a name it imports
    seconds = dict.fromkeys(STAGES, 0.0)
    with tempfile.TemporaryDirectory() as name:
        write_image(plan, Path(name), indices[0])
        for stage in STAGES:
            setattr(write_module, stage, timed(seconds, stage, getattr(write_module, stage)))
        gate.wait()
        wall, cpu = time.perf_counter(), time.process_time()
        for index in indices:
            write_image(plan, Path(name), index)
        told.put((time.perf_counter() - wall, time.process_time() - cpu, seconds))


def render_with(threads: int, *given: Any, **named: Any) -> Any:  # noqa: ANN401 -- hands on
    """Render in so many threads, whatever is asked for."""
    return render(*given, **{**named, "workers": threads})


def measured(parts: dict[str, Any], count: int, workers: int, threads: int) -> tuple[float, ...]:
    """Give images a second, CPU seconds an image, and the shares of encoding and of all writing."""
    spawn = get_context("spawn")
    gate, told = spawn.Barrier(workers), spawn.Queue()
    each = count // workers
    spans = [range(64 * k, 64 * k + each) for k in range(workers)]
    runner = [spawn.Process(target=work, args=(parts, span, threads, gate, told)) for span in spans]
    for one in runner:
        one.start()
    found = [told.get() for _ in runner]
    for one in runner:
        one.join()
    total = sum(wall for wall, _, _ in found)
    encoding = sum(each["_write_samples"] + each["write_png"] for _, _, each in found)
    others = sum(each["write_text"] + each["write_json"] for _, _, each in found)
    return (
        each * workers / max(wall for wall, _, _ in found),
        sum(cpu for _, cpu, _ in found) / (each * workers),
        encoding / total,
        others / total,
    )


def resident_mb() -> float:
    """Memory of this process now. [MB]."""
    pages = int(Path("/proc/self/statm").read_text("utf-8").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def memory(count: int) -> list[tuple[int, float]]:
    """Make a set of small images in this process; give the memory after each tenth of it."""
    plan = plan_from({**SMALL, "count": count})
    found = []

    def tell(done: int, total: int) -> None:
        if done % (total // 10) == 0:
            found.append((done, resident_mb()))

    with tempfile.TemporaryDirectory() as name:
        make_set(plan, Path(name) / "set", Alone(), progress=tell)
        found.append((count + 1, resident_mb()))
    return found


def best(parts: dict[str, Any], asked: argparse.Namespace) -> dict[str, tuple[float, ...]]:
    """Take the quickest of some rounds of all ways in turn: other work comes and goes."""
    rounds = [
        {way: measured(parts, asked.images, *numbers) for way, numbers in WAYS.items()}
        for _ in range(asked.rounds)
    ]
    return {way: max(each[way] for each in rounds) for way in WAYS}


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--images", type=int, default=16)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--small", type=int, default=2000)
    parser.add_argument("--million", action="store_true")
    parser.add_argument("--plan", type=Path, default=Path("sample_targets/foil_set.toml"))
    parser.add_argument("--thousand", type=int, default=1000, help="images of --million")
    asked = parser.parse_args()
    if asked.million:
        million(asked.plan, asked.thousand)
        return
    tell("| images of 1024 x 1024 | way | images a second | CPU s an image | encoding | texts |")
    tell("|---|---|---|---|---|---|")
    for name, parts in PLANS.items():
        for way, (rate, cpu, encoding, texts) in best(parts, asked).items():
            tell(f"| {name} | {way} | {rate:.2f} | {cpu:.3f} | {encoding:.0%} | {texts:.0%} |")
    tell(f"\nmemory over {asked.small} images of 96 x 96, MB:")
    tell(", ".join(f"{done}: {mb:.0f}" for done, mb in memory(asked.small)))


def tell(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
