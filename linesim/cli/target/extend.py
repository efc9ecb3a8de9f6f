"""``linesim target extend``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.progress import progress
from linesim.figures.safety import MACHINERY
from linesim.report.console import wrapped
from linesim.targets.extend.web import METHODS, asked_web, write_web


def extend(  # noqa: PLR0913 -- one option a property of the web
    image: Annotated[
        Path,
        typer.Argument(
            metavar="IMAGE", help="A photograph of good product, square on and evenly lit."
        ),
    ],
    *,
    size: Annotated[
        str, typer.Option(metavar="W x H", help='Of the web, across and along: "300 mm x 2 m".')
    ],
    pixel_size: Annotated[
        str,
        typer.Option(
            metavar="LENGTH",
            help='Side of a pixel of the photograph, such as "40 um" or "600 dpi".',
        ),
    ],
    method: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="grain (random phase) or quilt (sewn of pieces).  [default: as the surface is]",
        ),
    ] = None,
    encoding: Annotated[
        str, typer.Option(metavar="NAME", help="What its numbers stand for: srgb or linear.")
    ] = "srgb",
    seed: Annotated[int, typer.Option(min=0, help="Seed of all chance.")] = 0,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="TIFF file.  [default: outputs/NAME_web.tif]"),
    ] = None,
) -> None:
    """Make metres of web from a photograph, without a visible repeat."""
    web = asked_web(image, (size, pixel_size), (method, encoding), seed)
    file = out or Path("outputs") / f"{image.stem}_web.tif"
    with progress("drawing the web", timed=True) as update:
        done = write_web(web, file, update)
    rows, columns = web.shape
    lines = [
        f"{columns} x {rows} pixels of {web.pixel_size_um:g} um, {METHODS[done]}",
        (
            f'in a setup: image = "{file.as_posix()}", pixel_size = "{web.pixel_size_um:g} um", '
            'encoding = "linear"'
        ),
        *wrapped(MACHINERY),
        f"wrote {file.as_posix()}",
    ]
    typer.echo("\n".join(lines))
