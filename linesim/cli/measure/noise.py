"""``linesim measure noise``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure.options import Area, BitDepth, Black, MaxPixels, chosen_region, show
from linesim.cli.options import Json
from linesim.files.folders import all_images
from linesim.studies.measure.flat import noise_table
from linesim.studies.measure.flat.noise import measure_noise


def noise(  # noqa: PLR0913 -- one option a property of the measurement
    images: Annotated[
        list[Path],
        typer.Argument(metavar="IMAGE", help="One, or more of the same light; or their folder."),
    ],
    *,
    region: Area = None,
    dark: Annotated[
        list[Path] | None,
        typer.Option("--dark", metavar="IMAGE", help="Without light; repeat for more."),
    ] = None,
    black: Black = None,
    bit_depth: BitDepth = None,
    max_pixels: MaxPixels = None,
    json: Json = False,
) -> None:
    """Read signal, noise in time, column pattern and SNR off an even area."""
    found = measure_noise(
        all_images(images),
        region=chosen_region(region),
        dark=all_images(dark or []),
        black_dn=black,
        bit_depth=bit_depth,
        max_pixels=max_pixels,
    )
    show(found, noise_table.text, json=json)
