"""``linesim measure uniformity``."""

from functools import partial
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
    show_each,
)
from linesim.cli.options import Json
from linesim.studies.measure.flat import uniformity_table
from linesim.studies.measure.flat.uniformity import measure_uniformity


def uniformity(  # noqa: PLR0913 -- one option a property of the measurement
    image: Annotated[
        Path, typer.Argument(metavar="IMAGE", help="An even target in motion; or a folder.")
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
    measured = partial(
        measure_uniformity,
        region=chosen_region(region),
        black_dn=black,
        bit_depth=bit_depth,
        max_pixels=max_pixels,
    )
    show_each(image, measured, uniformity_table.text, json=json, plot=(plot, uniformity_table.png))
