"""``linesim measure bars``."""

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure.options import (
    BitDepth,
    Channel,
    DirectionOf,
    Encoding,
    MaxPixels,
    PixelPitch,
    Plot,
    chosen_pitch_um,
    show_each,
)
from linesim.cli.options import Json
from linesim.metrics.region import Region
from linesim.studies.measure.bars import table
from linesim.studies.measure.bars.study import measure_bars


def bars(  # noqa: PLR0913 -- one option a property of the measurement
    image: Annotated[
        Path, typer.Argument(metavar="IMAGE", help="As delivered; a folder: all in it.")
    ],
    *,
    setup: Annotated[
        Path | None,
        typer.Option(
            "--setup",
            metavar="SETUP",
            help="Of a scan of the built-in bars: its setup.toml tells where every group lies.",
        ),
    ] = None,
    region: Annotated[
        list[str] | None,
        typer.Option(
            "--region",
            metavar="X,Y,W,H",
            help="One group of three bars with ground about it; repeat for more.",
        ),
    ] = None,
    direction: DirectionOf = None,
    contrast: Annotated[
        float, typer.Option(metavar="SHARE", help="What counts as told apart.")
    ] = 0.2,
    channel: Channel = None,
    bit_depth: BitDepth = None,
    max_pixels: MaxPixels = None,
    encoding: Encoding = "linear",
    pixel_pitch: PixelPitch = None,
    json: Json = False,
    plot: Plot = None,
) -> None:
    """Read contrast and MTF off groups of three bars, and name the finest told apart."""
    measured = partial(
        measure_bars,
        setup=setup,
        regions=[Region.read(each) for each in region or ()],
        direction=direction,
        channel=channel,
        bit_depth=bit_depth,
        max_pixels=max_pixels,
        encoding=encoding,
        pixel_pitch_um=chosen_pitch_um(pixel_pitch),
        contrast=contrast,
    )
    show_each(image, measured, table.text, json=json, plot=(plot, table.png))
