"""
Images of 1024 x 1024 a second in memory, as a PyTorch data set makes them, and where the time goes.

``.venv/bin/python -m tests.bench.dataset_memory``; needs the extra torch. One process, one thread,
the scene drawn before the clock starts; ``--profile`` lists the dearest functions of each plan.
"""

import argparse
import cProfile
import pstats
import sys
import time

from linesim.dataset.item import item
from linesim.dataset.plan.plan import Plan
from linesim.dataset.torch_sets import sample_of
from tests.bench.dataset_speed import PLANS, plan_of

_TOLD = 20


def make(plan: Plan, count: int) -> None:
    """Make images of one scene, and let them go."""
    for index in range(1, count + 1):
        sample_of(item(plan, index))


def row(name: str, plan: Plan, asked: argparse.Namespace) -> str:
    """Take the best of some rounds; a row of the table."""
    walls, cpus = [], []
    for _ in range(asked.rounds):
        wall, cpu = time.perf_counter(), time.process_time()
        make(plan, asked.images)
        walls.append((time.perf_counter() - wall) / asked.images)
        cpus.append((time.process_time() - cpu) / asked.images)
    return f"| {name} | {1 / min(walls):.2f} | {1 / min(cpus):.2f} | {min(cpus):.3f} |\n"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--images", type=int, default=10)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--profile", action="store_true")
    asked = parser.parse_args()
    sys.stdout.write(
        "| set | images/s | images a CPU second | CPU s an image |\n|---|---|---|---|\n"
    )
    for name, parts in PLANS.items():
        if "TIFF" in name:
            continue
        plan = plan_of(parts)
        sample_of(item(plan, 0))
        sys.stdout.write(row(name.removesuffix(", PNG"), plan, asked))
        sys.stdout.flush()
        if asked.profile:
            seen = cProfile.Profile()
            seen.runcall(make, plan, asked.images)
            pstats.Stats(seen).sort_stats("cumulative").print_stats(_TOLD)


if __name__ == "__main__":
    main()
