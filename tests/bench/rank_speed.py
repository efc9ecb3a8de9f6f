"""
How many options `linesim.rank` judges in a second, the figures of detection included.

``python tests/bench/rank_speed.py [OPTIONS]`` prints options, those that pass, seconds of the first
run and of later ones, and options a second; 120,000 options where nothing is asked for.
"""

import resource
import sys
import time

from linesim.studies.rank.space import Space, space_from
from linesim.studies.rank.study import rank

RUNS = 5


def space_of(count: int) -> Space:
    """Give a space of about so many options: 4 ways of binning, the rest numbers."""
    lights = max(2, round(count / (4 * 5 * 6 * 5)))
    return space_from(
        {
            "options": {
                "acquisition.binning": ["1x1", "2x1", "1x2", "2x2"],
                "lens.f_number": [2.8, 4, 5.6, 8, 11],
                "transport.speed": "10 m/min:120 m/min:lin6",
                "exposure_share": [0.2, 0.4, 0.6, 0.8, 1],
                "light.illuminance": f"5 klx:200 klx:log{lights}",
            },
            "requirement": {
                "snr": 20,
                "smallest_defect": "250 um",
                "detection_rate": 0.95,
                "false_alarms_per_m2": 0.01,
            },
        }
    )


def seconds(space: Space) -> tuple[float, int]:
    """Time one ranking; give the options that pass as well."""
    start = time.perf_counter()
    found = rank(space)
    return time.perf_counter() - start, len(found.order)


def main() -> None:
    """Print one line."""
    space = space_of(int(sys.argv[1]) if len(sys.argv) > 1 else 120_000)
    first_s, passing = seconds(space)
    times = sorted(seconds(space)[0] for _ in range(RUNS))
    middle_s = times[RUNS // 2]
    memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    sys.stdout.write(
        f"{space.count} options, {passing} pass: {first_s:.2f} s the first time, then "
        f"{middle_s:.2f} s ({times[0]:.2f} to {times[-1]:.2f}); "
        f"{space.count / middle_s:,.0f} options a second; {memory_mb:.0f} MB at most\n"
    )


if __name__ == "__main__":
    main()
