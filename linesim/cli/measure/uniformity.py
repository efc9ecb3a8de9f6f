"""``linesim measure uniformity``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure.options import (
    Area,
    BitDepth,
    Black,
    MaxPixels,
    Plot,
    chosen_region,
    write_plot,
)
from linesim.cli.options import Json, print_json
from linesim.studies.measure.flat.uniformity import measure_uniformity
from linesim.studies.measure.flat.uniformity_plots import uniformity_png
from linesim.studies.measure.flat.uniformity_table import uniformity_text


def uniformity(  # noqa: PLR0913 -- one option a property of the measurement
    image: Annotated[
        Path, typer.Argument(metavar="IMAGE", help="An even target in motion, as delivered.")
    ],
    *,
    region: Area = None,
    black: Black = None,
    bit_depth: BitDepth = None,
    max_pixels: MaxPixels = None,
    plot: Plot = None,
    json: Json = False,
) -> None:
    """Read fall-off, streaks, bands and SNR along the line off an even target."""
    found = measure_uniformity(
        image,
        region=chosen_region(region),
        black_dn=black,
        bit_depth=bit_depth,
        max_pixels=max_pixels,
    )
    write_plot(plot, lambda: uniformity_png(found))
    if json:
        print_json(found.as_dict())
        return
    typer.echo(uniformity_text(found))
    if plot is not None:
        typer.echo(f"\nwrote {plot.as_posix()}")
