"""
What a million images of a plan take, from a thousand that are really made.

``.venv/bin/python -m tests.bench.dataset_speed --million`` (``--plan FILE``). Two processes write
the first quarter of the set, then ``--resume`` goes on to the next: so the parts that one process
does alone, the dry run and the tables, are seen at four sizes, and what they cost an image is the
slope of a line, without what they cost once. Then two processes make the same images in memory and
write nothing.

Images fall into ten blocks. The spread s of the blocks' means says how far the mean of all can be
off: 2 s / sqrt(10), which is told as ±; of a slope it is twice its standard error. It covers what
differs from image to image and from minute to minute of this run, not another machine or disk.
Processor time counts both processes and this one; wall time is that of this machine, with whatever
else it did.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from multiprocessing import active_children, get_context
from multiprocessing.queues import Queue
from multiprocessing.synchronize import Barrier
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import linregress

from linesim.dataset.item import item
from linesim.dataset.layout import files_of
from linesim.dataset.make import finish, make_images, ready
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan
from linesim.workers.runners import processes
from linesim.workers.tasks import Runner

BLOCKS, WORKERS, PARTS, MILLION = 10, 2, 4, 1_000_000
_TICK_S = 1 / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True)
class Moment:
    """Wall and processor seconds up to now; the latter of this process and its children."""

    wall_s: float
    cpu_s: float

    def __sub__(self, other: "Moment") -> "Moment":
        return Moment(self.wall_s - other.wall_s, self.cpu_s - other.cpu_s)


def moment() -> Moment:
    """Look at the clocks."""
    pids = [each.pid for each in active_children()]
    fields = [
        Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split() for pid in pids
    ]
    ticks = sum(int(each[11]) + int(each[12]) for each in fields)  # utime and stime
    return Moment(time.perf_counter(), time.process_time() + ticks * _TICK_S)


@dataclass(frozen=True, slots=True)
class Step:
    """Images that are done, and what the last of them took."""

    done: int
    took: Moment


@dataclass(frozen=True, slots=True)
class Row:
    """Something measured an image: its mean, and twice its standard error."""

    name: str
    mean: float
    error: float

    @classmethod
    def of(cls, name: str, blocks: Sequence[float]) -> "Row":
        """Take the means of blocks."""
        found = np.asarray(blocks)
        return cls(name, float(found.mean()), float(2 * found.std(ddof=1) / np.sqrt(len(found))))

    @classmethod
    def slope(cls, name: str, sizes: Sequence[int], found: Sequence[float]) -> "Row":
        """Take what rises with the number of images."""
        line = linregress(sizes, found)
        return cls(name, float(line.slope), 2 * float(line.stderr))

    def told(self, unit: str, scale: float, digits: int, many: str) -> str:
        """Write a row of the table: an image, and a million of them."""
        each = f"{self.mean * scale:.{digits}f} ± {self.error * scale:.{digits}f} {unit}"
        return f"| {self.name} | {each} | {many} |"


def written(plan_file: Path, count: int, folder: Path) -> list[Row]:
    """Write a set in four parts; give seconds an image."""
    sizes = [count * part // PARTS for part in range(1, PARTS + 1)]
    before: list[float] = []
    after: list[float] = []
    steps: list[Step] = []
    with processes(WORKERS) as runner:
        warm(runner, plan_file)
        for size in sizes:
            plan = load_plan(plan_file, count=size)
            before.append(spent(partial(ready, plan, folder, resume=True)))
            steps += stopped(plan, folder, runner)
            after.append(spent(partial(finish, plan, folder)))
    return [
        *per_image(steps, count),
        Row.slope("drawing the plan: processor, one process", sizes, before),
        Row.slope("tables and card: processor, one process", sizes, after),
    ]


def warm(runner: Runner, plan_file: Path) -> None:
    """Have each worker load what it needs, as in a run that is long enough."""
    plan = load_plan(plan_file, count=4 * WORKERS)
    with tempfile.TemporaryDirectory() as name:
        make_images(plan, Path(name) / "set", runner)


def spent(work: Callable[[], object]) -> float:
    """Give the processor seconds of this process."""
    start = time.process_time()
    work()
    return time.process_time() - start


def stopped(plan: Plan, folder: Path, runner: Runner) -> list[Step]:
    """Make the images that are missing; give what each task took, as they ended."""
    steps: list[Step] = []
    last = [moment()]

    def tell(done: int, _: int) -> None:
        now = moment()
        steps.append(Step(done, now - last[0]))
        last[0] = now

    make_images(plan, folder, runner, tell)
    return steps


def per_image(steps: Sequence[Step], count: int) -> list[Row]:
    """Gather steps into blocks; give processor time, and wall time of two processes."""
    each = count // BLOCKS
    blocks = [
        [step for step in steps if first < step.done <= first + each]
        for first in range(0, count, each)
    ]
    cpu = [sum(step.took.cpu_s for step in block) / each for block in blocks]
    wall = [sum(step.took.wall_s for step in block) / each for block in blocks]
    return [Row.of("images: processor", cpu), Row.of("images: wall, two processes", wall)]


def on_disk(plan: Plan, folder: Path) -> list[Row]:
    """Give bytes an image: of its own files by blocks, and of the tables."""
    sizes = [
        sum((folder / name).stat().st_size for name in files_of(plan, k)) for k in range(plan.count)
    ]
    blocks = np.array(sizes).reshape(BLOCKS, -1).mean(axis=1)
    names = ("annotations/*", "images/*/*.jsonl", "*.csv", "files.sha256")
    tables = sum(path.stat().st_size for name in names for path in folder.glob(name))
    return [
        Row.of("files of an image", blocks.tolist()),
        Row("tables, list of hashes", tables / plan.count, 0.0),
    ]


def in_memory(plan_file: Path, count: int) -> list[Row]:
    """Make images in two processes and keep none."""
    spawn = get_context("spawn")
    gate, told = spawn.Barrier(WORKERS), spawn.Queue()
    each = count // WORKERS
    spans = [range(k * each, (k + 1) * each) for k in range(WORKERS)]
    runners = [spawn.Process(target=streamed, args=(plan_file, span, gate, told)) for span in spans]
    for one in runners:
        one.start()
    found = [told.get() for _ in runners]
    for one in runners:
        one.join()
    cpu = [block for blocks, _ in found for block in blocks]
    wall = np.mean([blocks for _, blocks in found], axis=0) / WORKERS
    return [
        Row.of("in memory: processor", cpu),
        Row.of("in memory: wall, two processes", wall.tolist()),
    ]


def streamed(plan_file: Path, span: range, gate: Barrier, told: "Queue[Any]") -> None:
    """Make images in a process of its own; tell seconds an image of each block."""
    plan = load_plan(plan_file)
    item(plan, span[-1])
    gate.wait()
    cpu, wall = [], []
    for block in np.array_split(np.array(span), BLOCKS // WORKERS):
        before = time.perf_counter(), time.process_time()
        for index in block.tolist():
            item(plan, index)
        wall.append((time.perf_counter() - before[0]) / len(block))
        cpu.append((time.process_time() - before[1]) / len(block))
    told.put((cpu, wall))


def million(plan_file: Path, count: int) -> None:
    """Print the table."""
    print_line(f"{count} images of {plan_file.name}, two processes; ± twice the standard error")
    print_line("\n| what | an image | a million |\n|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "set"
        for row in written(plan_file, count, folder):
            print_line(row.told("ms", 1e3, 2, hours(row)))
        for row in on_disk(load_plan(plan_file, count=count), folder):
            print_line(
                row.told(
                    "kB",
                    1e-3,
                    2,
                    f"{row.mean * MILLION / 1e9:.1f} ± {row.error * MILLION / 1e9:.1f} GB",
                )
            )
        files = sum(path.is_file() for path in folder.rglob("*"))
        print_line(f"| files | {files / count:.2f} | {files / count:.1f} million |")
    for row in in_memory(plan_file, count):
        print_line(row.told("ms", 1e3, 2, hours(row)))


def hours(row: Row) -> str:
    """Write the hours of a million."""
    return f"{row.mean * MILLION / 3600:.1f} ± {row.error * MILLION / 3600:.1f} h"


def print_line(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
