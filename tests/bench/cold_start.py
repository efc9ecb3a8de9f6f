"""
How long a command takes from nothing: ``python -m tests.bench.cold_start [OTHER]`` prints a table.

Every run is a process of its own, imports and all, of modules that are compiled already, as those
of an installed program are. The median of seven wall times, and the least time of a processor
(user and system), which says more on a machine that is not quiet. With the folder of another tree
the two take turns.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

COMMANDS = (
    ("--help",),
    ("new", "station.toml"),
    ("budget",),
    ("budget", "--json"),
    ("scan", "--out", "sample"),
    ("compare", "--out", "modes"),
)
RUNS = 7


def cpu_s() -> float:
    """Processor time of all runs so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def once(tree: Path, command: tuple[str, ...]) -> tuple[float, float]:
    """Wall and processor time of one run."""
    env = {**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": ""}
    with tempfile.TemporaryDirectory() as folder:
        begun, used = time.perf_counter(), cpu_s()
        subprocess.run(
            [sys.executable, "-m", "linesim", *command],
            cwd=folder,
            env=env,
            check=True,
            capture_output=True,
        )
        return time.perf_counter() - begun, cpu_s() - used


def main() -> None:
    """Print the table."""
    trees = [*(Path(name).resolve() for name in sys.argv[1:2]), Path(__file__).parents[2]]
    told = ("before: wall s | CPU s | wall s | CPU s", "wall s | CPU s")[len(trees) == 1]
    sys.stdout.write(f"| command | {told} |\n|{'---|' * (1 + 2 * len(trees))}\n")
    for command in COMMANDS:
        # the first round writes what is compiled, and warms the disk's cache
        rounds = [[once(tree, command) for tree in trees] for _ in range(RUNS + 1)][1:]
        cells = [
            f"{statistics.median(wall for wall, _ in runs):.2f} | {min(cpu for _, cpu in runs):.2f}"
            for runs in zip(*rounds, strict=True)
        ]
        sys.stdout.write(f"| `linesim {' '.join(command)}` | {' | '.join(cells)} |\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
