"""``linesim measure edge``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure.options import BitDepth, MaxPixels, Plot, chosen_region
from linesim.cli.measure.sharpness_options import (
    Channel,
    DirectionOf,
    Encoding,
    PixelPitch,
    chosen_pitch_um,
)
from linesim.cli.options import Json, print_json
from linesim.studies.measure.edge.study import measure_edge
from linesim.studies.measure.edge.table import edge_text


def edge(  # noqa: PLR0913 -- one option a property of the measurement
    image: Annotated[Path, typer.Argument(metavar="IMAGE", help="As delivered.")],
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
    found = measure_edge(
        image,
        region=chosen_region(region),
        direction=direction,
        channel=channel,
        bit_depth=bit_depth,
        max_pixels=max_pixels,
        encoding=encoding,
        pixel_pitch_um=chosen_pitch_um(pixel_pitch),
        seed=seed,
    )
    if plot is not None:
        from linesim.studies.measure.edge.plots import write_edge_plot  # noqa: PLC0415 -- an extra

        write_edge_plot(found, plot)
    if json:
        print_json(found.as_dict())
    else:
        typer.echo(edge_text(found))
