"""
How long a command takes from nothing: ``python -m tests.bench.cold_start`` prints the table.

Every run is a process of its own, imports and all; the median of seven, after one that warms the
disk's cache.
"""

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


def main() -> None:
    """Print the table."""
    sys.stdout.write("| command | wall s |\n|---|---|\n")
    program = str(Path(sys.executable).with_name("linesim"))
    for command in COMMANDS:
        took = []
        for _ in range(RUNS + 1):
            with tempfile.TemporaryDirectory() as folder:
                begun = time.perf_counter()
                subprocess.run([program, *command], cwd=folder, check=True, capture_output=True)
                took.append(time.perf_counter() - begun)
        sys.stdout.write(f"| `linesim {' '.join(command)}` | {statistics.median(took[1:]):.2f} |\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
