"""``linesim measure edge``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure_options import BitDepth, MaxPixels, Plot, chosen_region
from linesim.cli.options import Json, print_json
from linesim.cli.sharpness_options import (
    Channel,
    DirectionOf,
    Encoding,
    PixelPitch,
    chosen_pitch_um,
)


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
    from linesim.report.measure_edge_text import edge_text  # noqa: PLC0415 -- quick --help
    from linesim.study.measure_edge import measure_edge  # noqa: PLC0415 -- quick --help

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
        from linesim.report.measure_edge_plot import write_edge_plot  # noqa: PLC0415 -- an extra

        write_edge_plot(found, plot)
    if json:
        print_json(found.as_dict())
    else:
        typer.echo(edge_text(found))
