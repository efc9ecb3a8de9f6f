"""``linesim measure scene``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure_options import (
    Area,
    BitDepth,
    Black,
    MaxPixels,
    Plot,
    chosen_region,
    write_plot,
)
from linesim.cli.options import Json, print_json


def scene(  # noqa: PLR0913 -- one option a property of the measurement
    image: Annotated[
        Path, typer.Argument(metavar="IMAGE", help="Anything in motion, as delivered.")
    ],
    *,
    region: Area = None,
    black: Black = None,
    bit_depth: BitDepth = None,
    max_pixels: MaxPixels = None,
    plot: Plot = None,
    json: Json = False,
) -> None:
    """Read noise, SNR, sharpness along and across, and levels off an image of anything."""
    from linesim.report.measure_scene_text import scene_text  # noqa: PLC0415 -- quick --help
    from linesim.report.scene_plot import scene_png  # noqa: PLC0415 -- the same
    from linesim.study.measure_scene import measure_scene  # noqa: PLC0415 -- the same

    found = measure_scene(
        image,
        region=chosen_region(region),
        black_dn=black,
        bit_depth=bit_depth,
        max_pixels=max_pixels,
    )
    write_plot(plot, lambda: scene_png(found))
    if json:
        print_json(found.as_dict())
        return
    typer.echo(scene_text(found))
    if plot is not None:
        typer.echo(f"\nwrote {plot.as_posix()}")
