"""``linesim measure edge``."""

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
    chosen_region,
    show_each,
)
from linesim.cli.options import Json
from linesim.studies.measure.edge import table
from linesim.studies.measure.edge.study import measure_edge


def edge(  # noqa: PLR0913 -- one option a property of the measurement
    image: Annotated[
        Path, typer.Argument(metavar="IMAGE", help="As delivered; a folder: all in it.")
    ],
    *,
    region: Annotated[
        str | None,
        typer.Option(
            "--region",
            metavar="X,Y,W,H",
            help="First column, first line, columns, lines; left out: the best edge is found.",
        ),
    ] = None,
    direction: DirectionOf = None,
    channel: Channel = None,
    bit_depth: BitDepth = None,
    max_pixels: MaxPixels = None,
    encoding: Encoding = "linear",
    pixel_pitch: PixelPitch = None,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Of the draws for the ±.")] = 0,
    json: Json = False,
    plot: Plot = None,
) -> None:
    """Read MTF50, MTF10, MTF at Nyquist, rise and overshoot off a slanted edge, each with its ±."""
    measured = partial(
        measure_edge,
        region=chosen_region(region),
        direction=direction,
        channel=channel,
        bit_depth=bit_depth,
        max_pixels=max_pixels,
        encoding=encoding,
        pixel_pitch_um=chosen_pitch_um(pixel_pitch),
        seed=seed,
    )
    show_each(image, measured, table.text, json=json, plot=(plot, table.png))
