"""What a scan leaves on disk, each file whole or not there at all."""

from pathlib import Path

import numpy as np

from linesim.files.atomic import write_json, write_text
from linesim.files.images_out import write_png, write_tiff
from linesim.report.picture import Grid, picture, tones, white_for
from linesim.setup.resolve import resolved_text
from linesim.study.scan import Scan

_EIGHT_BIT = 8


def preview(scan: Scan, *, true_proportion: bool = False) -> np.ndarray:
    """
    Make the picture of a scan, stretched to its own range, which the caption states.

    Parameters
    ----------
    scan : Scan
        The scan.
    true_proportion : bool
        Undo the stretch of unequal sampling.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        Ready for the screen.
    """
    setup = scan.setup
    black_dn = setup.camera.black_level_dn
    white_dn = white_for(scan.image, black_dn)
    grid = Grid(
        across_um=scan.budget.number("geometry", "object_pixel_x_um"),
        along_um=scan.budget.number("geometry", "line_advance_um"),
    )
    caption = (
        f"{setup.title} - shown from {black_dn:.0f} DN (black) to {white_dn:.0f} DN (white) "
        f"of {setup.full_scale_dn} DN"
    )
    return picture(
        tones(scan.image, black_dn, white_dn), grid, caption, true_proportion=true_proportion
    )


def write_scan(scan: Scan, folder: Path, *, true_proportion: bool = False) -> tuple[Path, ...]:
    """
    Write samples, picture, figures and the resolved setup.

    Parameters
    ----------
    scan : Scan
        The scan.
    folder : pathlib.Path
        Made where it is missing; files in it are replaced one by one.
    true_proportion : bool
        Of the picture.

    Returns
    -------
    tuple of pathlib.Path
        The files written.

    Raises
    ------
    InputError
        Where the folder cannot be written.
    """
    names = ("scan.tif", "preview.png", "metrics.json", "setup.toml")
    paths = tuple(folder / name for name in names)
    small = scan.setup.camera.bit_depth == _EIGHT_BIT
    samples = scan.image.astype(np.uint8) if small else scan.image
    write_tiff(paths[0], samples, full_scale_dn=scan.setup.full_scale_dn)
    write_png(paths[1], preview(scan, true_proportion=true_proportion))
    write_json(paths[2], scan.metrics())
    write_text(paths[3], resolved_text(scan.setup, folder))
    return paths
