"""``linesim measure scene``."""

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
from linesim.studies.measure.scene import table
from linesim.studies.measure.scene.study import measure_scene


def scene(  # noqa: PLR0913 -- one option a property of the measurement
    image: Annotated[
        Path, typer.Argument(metavar="IMAGE", help="Anything in motion; or a folder.")
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
    measured = partial(
        measure_scene,
        region=chosen_region(region),
        black_dn=black,
        bit_depth=bit_depth,
        max_pixels=max_pixels,
    )
    show_each(image, measured, table.text, json=json, plot=(plot, table.png))
