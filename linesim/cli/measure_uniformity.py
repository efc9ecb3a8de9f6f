"""``linesim measure uniformity``."""

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
    from linesim.report.measure_uniformity_text import uniformity_text  # noqa: PLC0415 -- quick --help
    from linesim.report.uniformity_plot import uniformity_png  # noqa: PLC0415 -- the same
    from linesim.study.measure_uniformity import measure_uniformity  # noqa: PLC0415 -- the same

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
