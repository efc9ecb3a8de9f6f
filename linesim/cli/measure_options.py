"""Options that the measuring commands share."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from linesim.metrics.region import Region

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
    """
    Read the region asked for.

    Parameters
    ----------
    text : str or None
        As given on the command line.

    Returns
    -------
    Region or None
        None for the whole image.

    Raises
    ------
    InputError
        Where it is no region.
    """
    from linesim.metrics.region import Region  # noqa: PLC0415 -- quick --help

    return None if text is None else Region.read(text)


def write_plot(path: Path | None, draw: Callable[[], bytes]) -> None:
    """
    Write the plot asked for.

    Parameters
    ----------
    path : pathlib.Path or None
        As given on the command line; None: no plot.
    draw : callable
        Gives the bytes of a PNG file.

    Raises
    ------
    InputError
        Where the name does not end in .png, or it cannot be drawn or written.
    """
    if path is None:
        return
    from linesim.files.atomic import write_bytes  # noqa: PLC0415 -- quick --help
    from linesim.setup.errors import InputError  # noqa: PLC0415 -- the same

    if path.suffix.lower() != ".png":
        msg = f'--plot "{path}": read the ending "{path.suffix}"; expected .png'
        raise InputError(msg)
    write_bytes(path, draw())
