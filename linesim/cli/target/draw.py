"""``linesim target draw``, or ``linesim target`` alone."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.report.target_file import TargetRequest, target_lines, write_target

Side = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH", help='Of the target, such as "40 mm".  [default: the target\'s own]'
    ),
]
PixelSize = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH",
        help='Side of one pixel of the image on the real thing, such as "20 um".  [default: the '
        "target's own]",
    ),
]


def draw(  # noqa: PLR0913 -- one option a property of the target
    name: Annotated[str | None, typer.Argument(help="Which one; left out: list them.")] = None,
    *,
    pixel_size: PixelSize = None,
    width: Side = None,
    height: Side = None,
    angle: Annotated[str | None, typer.Option(help='Edge only, such as "5 deg".')] = None,
    contrast: Annotated[float | None, typer.Option(help="Edge only, light to dark.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="PNG or TIFF file.  [default: outputs/NAME.png]")
    ] = None,
) -> None:
    """Write a built-in target as an image file of 16 bit, sRGB-encoded."""
    if name is None:
        typer.echo("\n".join(target_lines()))
        return
    request = TargetRequest(
        name=name, pixel_size=pixel_size, width=width, height=height, angle=angle, contrast=contrast
    )
    typer.echo(write_target(request, out or Path("outputs") / f"{name}.png"))
