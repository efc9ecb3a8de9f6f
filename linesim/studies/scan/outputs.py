"""What a scan leaves on disk, each file whole or not there at all."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linesim.figures.budget import Budget
from linesim.files.atomic import write_json, write_text
from linesim.files.images_out import write_png, write_tiff
from linesim.report.picture import Grid, picture, tones, white_for
from linesim.report.rows import measured_rows
from linesim.report.sheet import Panel, sheet
from linesim.report.table import budget_text, row_lines
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.scan.streamed import FiledScan
from linesim.studies.scan.study import Scan

_EIGHT_BIT = 8
SAMPLES = "scan.tif"
_PLACE_SAMPLES = 1 << 22
"""Most that a picture shows of one place of a long scan."""
_PLACE_PX = 520
_PLACES = ("start", "middle", "end")


def preview(scan: Scan, *, true_proportion: bool = False) -> NDArray[np.uint8]:
    """Make the picture of a scan, stretched to its own range, which the caption states."""
    setup = scan.setup
    black_dn = setup.camera.black_level_dn
    white_dn = white_for(scan.image, black_dn)
    grid = grid_of(scan.budget)
    shown, caption = tones(scan.image, black_dn, white_dn), _caption(setup, white_dn)
    return picture(shown, grid, caption, true_proportion=true_proportion)


def _caption(setup: Setup, white_dn: float) -> str:
    return (
        f"{setup.title} – shown from {setup.camera.black_level_dn:.0f} DN (black) to "
        f"{white_dn:.0f} DN (white) of {setup.full_scale_dn} DN"
    )


def write_scan(scan: Scan, folder: Path, *, true_proportion: bool = False) -> tuple[Path, ...]:
    """Write samples, picture, figures and the resolved setup."""
    names = (SAMPLES, "preview.png", "metrics.json", "setup.toml")
    paths = tuple(folder / name for name in names)
    small = scan.setup.camera.bit_depth == _EIGHT_BIT
    samples = scan.image.astype(np.uint8) if small else scan.image
    write_tiff(paths[0], samples, full_scale_dn=scan.setup.full_scale_dn)
    write_png(paths[1], preview(scan, true_proportion=true_proportion))
    write_json(paths[2], scan.metrics())
    write_text(paths[3], resolved_text(scan.setup, folder))
    return paths


def places(scan: FiledScan) -> NDArray[np.uint8]:
    """Make the picture of a long scan: its start, its middle and its end."""
    lines, width = scan.image.shape[:2]
    shown = min(lines, width, max(1, _PLACE_SAMPLES // width))
    starts = (0, (lines - shown) // 2, lines - shown) if lines > shown else (0,)
    cut = [scan.image.rows(start, start + shown) for start in starts]
    black_dn = scan.setup.camera.black_level_dn
    white_dn = white_for(np.concatenate(cut), black_dn)
    grid = grid_of(scan.budget)
    panels = [
        Panel(
            image=tones(image, black_dn, white_dn),
            grid=grid,
            title=f"{name}: lines {start} to {start + shown} of {lines}, "
            f"{start * grid.along_um / 1e6:.2f} m on",
        )
        for name, start, image in zip(_PLACES, starts, cut, strict=False)
    ]
    heading = _caption(scan.setup, white_dn)
    return sheet(panels, columns=len(panels), width_px=_PLACE_PX, heading=heading)


def write_filed(scan: FiledScan, folder: Path) -> tuple[Path, ...]:
    """Write picture, figures and the resolved setup of a scan that is in its file already."""
    paths = tuple(folder / name for name in ("preview.png", "metrics.json", "setup.toml"))
    write_png(paths[0], places(scan))
    write_json(paths[1], scan.metrics())
    write_text(paths[2], resolved_text(scan.setup, folder))
    return (scan.image.path, *paths)


def grid_of(figures: Budget) -> Grid:
    """Give the sides of a scan's samples on the target."""
    return Grid(
        across_um=figures.number("geometry", "object_pixel_x_um"),
        along_um=figures.number("geometry", "line_advance_um"),
    )


def scan_text(found: Scan | FiledScan) -> str:
    """Lay a scan's figures out for the console."""
    measured = row_lines(measured_rows(found.measured))
    return "\n".join(
        [budget_text(found.setup, found.budget), "", "measured on the image", *measured]
    )
