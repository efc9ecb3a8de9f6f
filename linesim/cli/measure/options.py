"""Options that the measuring commands share."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from linesim.files.atomic import write_bytes
from linesim.metrics.region import Region
from linesim.setup.errors import InputError

Area = Annotated[
    str | None,
    typer.Option(
        "--region",
        metavar="X,Y,W,H",
        help="First column, first line, columns, lines; left out: the whole image.",
    ),
]
Black = Annotated[
    float | None,
    typer.Option(
        "--black", metavar="DN", help="Level without light.  [default: 0, with a caution]"
    ),
]
BitDepth = Annotated[
    int | None,
    typer.Option(
        "--bit-depth",
        metavar="BITS",
        help="Bits of a sample; left out: as the file says, or the fewest that hold it.",
    ),
]
MaxPixels = Annotated[
    int | None,
    typer.Option(
        "--max-pixels",
        metavar="COUNT",
        min=4,
        help="Largest image that is read, columns times lines.  [default: 1000000000]",
    ),
]
Plot = Annotated[
    Path | None, typer.Option("--plot", metavar="FILE.png", help="Write a plot as well.")
]


def chosen_region(text: str | None) -> "Region | None":
    """Read the region asked for."""
    return None if text is None else Region.read(text)


def write_plot(path: Path | None, draw: Callable[[], bytes]) -> None:
    """Write the plot asked for."""
    if path is None:
        return
    if path.suffix.lower() != ".png":
        msg = f'--plot "{path}": read the ending "{path.suffix}"; expected .png'
        raise InputError(msg)
    write_bytes(path, draw())
