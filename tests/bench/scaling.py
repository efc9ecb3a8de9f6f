"""
How `linesim dataset`, `vary --render` and `compare` scale with workers.

``.venv/bin/python -m tests.bench.scaling`` prints images, points or variants a second with one
worker of one thread and with two, the median of some rounds in turn; the serial share that Amdahl's
law gives from the two, and what that law predicts for more workers. The prediction is an estimate:
it knows neither the memory's bandwidth, nor the disk, nor threads that share a core. Workers begin
and load their libraries before the clock starts, as in a run that is long enough to spread.

On a machine that others use too, wall time tells little. Then the processor time helps: what the
process that hands tasks out uses itself, over what one worker uses for all, is the least that the
serial share can be. The prediction is told for both.

Amdahl: with a share s that is serial, N workers are 1 / (s + (1 - s) / N) times as quick, and two
that are S times as quick give s = 2 / S - 1.
"""

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from linesim.dataset.make import make_set
from linesim.dataset.plan.plan_file import plan_from
from linesim.setup.load import changed, sample_setup
from linesim.studies.compare.study import compared
from linesim.studies.compare.variants import binning_variants
from linesim.studies.vary.rendered import rendered
from linesim.studies.vary.study import vary
from linesim.workers.runners import processes
from linesim.workers.tasks import Alone, Runner

MORE = (4, 8, 16)
"""Workers that are predicted."""


@dataclass(frozen=True)
class Job:
    """Something to spread: what is counted, how many there are, and how a crew does it."""

    name: str
    counted: str
    count: int
    run: Callable[[Runner], object]


def dataset_job(count: int) -> Job:
    """Images of 1024 x 1024 of foil, eight of each scene, tables at the end included."""
    plan = plan_from(
        {
            "count": count,
            "scenes": {"kind": "foil", "images_each": 8},
            "vary": {"light": {"illuminance": "32 klx:48 klx"}},
            "images": {"lines": 1024},
        }
    )

    def run(runner: Runner) -> None:
        with tempfile.TemporaryDirectory() as name:
            make_set(plan, Path(name) / "set", runner)

    return Job("dataset", "images", count, run)


def vary_job(count: int) -> Job:
    """Points along the light, in the usual figures; the closed form is worked out before."""
    found = vary(sample_setup(), {"light.illuminance": f"5klx:50klx:log{count}"})
    return Job("vary --render", "points", count, lambda runner: rendered(found, runner=runner))


def compare_job(image: str, lines: int) -> Job:
    """Four ways of binning, images of all kept; a scene is drawn once, which is serial."""
    size = {"target.width": "160 mm", "target.height": f"{0.05 * lines!r} mm"}
    base = changed(
        sample_setup(),
        {
            "target.image": image,
            "target.pixel_size": "20 um",
            "camera.pixels": 2048,
            "acquisition.lines": None,
            **size,
        },
    )
    variants = binning_variants(base, ("1x1", "2x1", "1x2", "2x2"))
    return Job(
        f"compare, {image}", "variants", 4, lambda runner: compared("", variants, runner=runner)
    )


def warm(runner: Runner) -> None:
    """Have each worker load what it needs: a short comparison for every one of them."""
    base = changed(
        sample_setup(), {"target.image": "flat", "camera.pixels": 64, "acquisition.lines": 64}
    )
    short = binning_variants(base, ("1x1", "2x2"))
    for _ in range(3 * runner.workers):
        compared("", short, runner=runner)


@dataclass(frozen=True)
class Took:
    """Wall seconds, and processor seconds of this process."""

    wall_s: float
    own_s: float


def took(job: Job, runner: Runner) -> Took:
    """Time a job."""
    wall_s, own_s = time.perf_counter(), time.process_time()
    job.run(runner)
    return Took(time.perf_counter() - wall_s, time.process_time() - own_s)


def measured(job: Job, rounds: int, pair: Runner) -> list[Took]:
    """Medians of this process in its threads, of one worker, and of two, in turn."""
    ways = (Alone(), Alone(threads=1), pair)
    found = [[took(job, runner) for runner in ways] for _ in range(rounds)]
    return [
        Took(
            statistics.median(each.wall_s for each in way),
            statistics.median(each.own_s for each in way),
        )
        for way in zip(*found, strict=True)
    ]


def amdahl(serial: float, workers: int) -> float:
    """How many times as quick so many workers are, with a share that is serial."""
    held = min(max(serial, 0.0), 1.0)
    return 1 / (held + (1 - held) / workers)


def row(job: Job, way: list[Took]) -> str:
    """Tell a job: rates, serial shares, and the estimate for more workers."""
    one, two = way[1:]
    speed_up = one.wall_s / two.wall_s
    serial, stays = 2 / speed_up - 1, two.own_s / one.own_s
    cells = [job.name, job.counted, *(f"{job.count / each.wall_s:.2f}" for each in way)]
    cells += [f"{speed_up:.2f}", f"{serial:.0%}", f"{stays:.0%}"]
    for workers in MORE:
        at_once = min(workers, job.count)
        rates = sorted(job.count / one.wall_s * amdahl(s, at_once) for s in (serial, stays))
        cells.append(" to ".join(f"{each:.2f}" for each in rates))
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--images", type=int, default=32)
    parser.add_argument("--points", type=int, default=8)
    parser.add_argument("--lines", type=int, default=4000)
    asked = parser.parse_args()
    tell(f"{os.cpu_count()} processors; load {os.getloadavg()[0]:.1f} before; a second each:\n")
    heads = ["job", "counted", "this process, threads", "1 worker", "2 workers", "2 over 1"]
    heads += ["serial share (Amdahl)", "stays here (processor time)"]
    heads += [*(f"{each} workers, estimate" for each in MORE)]
    tell(f"| {' | '.join(heads)} |\n|{'---|' * len(heads)}")
    jobs = (
        dataset_job(asked.images),
        vary_job(asked.points),
        compare_job("flat", asked.lines),
        compare_job("foil", asked.lines),
    )
    with processes(2) as pair:
        warm(pair)
        for job in jobs:
            tell(row(job, measured(job, asked.rounds, pair)))
    tell(f"\nload {os.getloadavg()[0]:.1f} after; a serial share far above what stays here is")
    tell("other work on the machine, or memory's bandwidth")


def tell(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
