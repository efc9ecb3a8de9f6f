"""
Draw every fault that the model knows, one panel each, on a target that shows it at sight.

``python -m tests.bench.fault_sheet`` writes the sheets to ``outputs/gallery/``.
"""

import sys
from pathlib import Path

import numpy as np
from PIL import Image

from linesim.report.picture import Grid, tones
from linesim.report.sheet import Panel, sheet
from linesim.setup.arrays import ImageArray
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from tests.bench.fault_cases import LIGHT, MOTION, STATION, Case, Sheet
from tests.bench.fault_cases_ends import COLOUR_ENDS, ENDS, SENSOR
from tests.bench.fault_cases_more import COLOUR, LEVELS, SHARPNESS

GALLERY = Path(__file__).parents[2] / "outputs" / "gallery"
RULED_PX = 1024
PITCH_PX, RULE_PX = 128, 8


def rulings(pixels: int = RULED_PX) -> ImageArray:
    """Draw dark rulings on white both ways, and slanted ones at 45 degrees."""
    step = np.arange(pixels)
    along, across = step[:, None], step[None, :]
    slanted = (along + across + PITCH_PX // 2) % (2 * PITCH_PX)
    dark = (along % PITCH_PX < RULE_PX) | (across % PITCH_PX < RULE_PX) | (slanted < RULE_PX)
    return np.where(dark, 0.08, 1.0).astype(np.float32)


def panel(station: Setup, case: Case, plan: Sheet) -> Panel:
    """Scan one case."""
    setup = changed(station, {**case.changes, "acquisition.lines": case.lines})
    found = scan(setup, seed=1, reference=rulings() if plan.rulings else None)
    black_dn = setup.camera.black_level_dn
    white_dn = black_dn + case.white * (setup.full_scale_dn - black_dn)
    return Panel(
        image=tones(found.image, black_dn, white_dn),
        grid=Grid(
            across_um=found.budget.number("geometry", "object_pixel_x_um"),
            along_um=found.budget.number("geometry", "line_advance_um"),
        ),
        title=case.title,
        detail=plan.detail,
    )


def draw(plan: Sheet) -> Path:
    """Scan all panels of a sheet and write it."""
    station = changed(setup_from(STATION, GALLERY), plan.station)
    panels = [panel(station, case, plan) for case in plan.cases]
    path = GALLERY / f"{plan.name}.png"
    page = sheet(panels, columns=plan.columns, width_px=256, heading=plan.heading)
    grey = bool((page == page[:, :, :1]).all())
    Image.fromarray(page).convert("L" if grey else "RGB").save(path, optimize=True)
    return path


if __name__ == "__main__":
    wanted = sys.argv[1:]
    for plan in (MOTION, LIGHT, SENSOR, LEVELS, SHARPNESS, ENDS, COLOUR, COLOUR_ENDS):
        if not wanted or plan.name in wanted:
            print(draw(plan).name)  # noqa: T201 -- a program for the console
