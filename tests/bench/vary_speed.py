"""
How many points a second ``linesim vary`` works out in closed form.

``python -m tests.bench.vary_speed`` prints one line a case, the best of three runs; the first run
of all, which loads what is needed, does not count. Processor time stands beside the wall's, for
machines that others use too.
"""

import sys
import time
from pathlib import Path

from linesim.setup.load import changed, load_setup
from linesim.studies.vary.study import vary

SETUP = Path(__file__).parents[2] / "sample_targets" / "foil_dim.toml"
CASES = {
    "light, 10,000": {"light.illuminance": "5klx:200klx:log10000"},
    "f-number, 10,000": {"lens.f_number": "2:22:log10000"},
    "speed, 10,000": {"transport.speed": "10m/min:300m/min:lin10000"},
    "light x f-number, 100 x 100": {
        "light.illuminance": "5klx:200klx:log100",
        "lens.f_number": "2:22:log100",
    },
    "light x f-number, 40 x 40": {
        "light.illuminance": "5klx:200klx:log40",
        "lens.f_number": "2:22:log40",
    },
}
FIGURES = {
    "without detection": ("snr_white", "electrons_white", "saturation_white", "mtf50_y_lp_mm"),
    "the usual six": (),
}
RUNS = 3


def best(
    texts: dict[str, str], figures: tuple[str, ...], *, asked: bool
) -> tuple[float, float, int]:
    """Best wall time, the processor time of that run, and the points."""
    setup = load_setup(SETUP)
    if not asked:
        setup = changed(setup, {"requirement.snr": None, "requirement.smallest_defect": None})
    found = []
    for _ in range(RUNS):
        wall_s, busy_s = time.perf_counter(), time.process_time()
        study = vary(setup, texts, figures=figures)
        found.append((time.perf_counter() - wall_s, time.process_time() - busy_s))
    points = study.curves[0].space.count
    return (*min(found), points)


def main() -> None:
    """Print one line a case."""
    vary(load_setup(SETUP), {"lens.f_number": "2,4"})
    line = "{:<30}{:<20}{:>10}{:>12}{:>14}\n"
    sys.stdout.write(line.format("range", "figures", "s", "processor s", "points/s"))
    for name, texts in CASES.items():
        for which, figures in FIGURES.items():
            wall_s, busy_s, points = best(texts, figures, asked=not figures)
            told = (f"{wall_s:.2f}", f"{busy_s:.2f}", f"{points / wall_s:.0f}")
            sys.stdout.write(line.format(name, which, *told))


if __name__ == "__main__":
    main()
