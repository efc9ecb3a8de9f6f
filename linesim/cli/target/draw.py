"""``linesim target draw``, or ``linesim target`` alone."""

from pathlib import Path
from typing import Annotated, Any

import typer

from linesim.cli.progress import progress
from linesim.report.target_file import TargetRequest, target_lines, write_target
from linesim.setup.errors import InputError
from linesim.targets.extend.web import WAYS, web_of, write_web

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
Encoded = Annotated[
    str | None,
    typer.Option("--encoding", help='Photograph only: "srgb" or "linear" codes.  [default: srgb]'),
]
Way = Annotated[
    str | None,
    typer.Option(
        "--method",
        help='Photograph only: "grain" (random phase) or "quilt" (sewn of pieces).  [default: as '
        "the surface is]",
    ),
]
WebSeed = Annotated[
    int | None, typer.Option("--seed", min=0, help="Photograph only: of all chance.  [default: 0]")
]


def target(  # noqa: PLR0913 -- one option a property of the target
    name: Annotated[
        str | None,
        typer.Argument(
            help="Which one, or a photograph of a product to make a web of; left out: list them."
        ),
    ] = None,
    *,
    pixel_size: PixelSize = None,
    width: Side = None,
    height: Side = None,
    angle: Annotated[str | None, typer.Option(help='Edge only, such as "5 deg".')] = None,
    contrast: Annotated[float | None, typer.Option(help="Edge only, light to dark.")] = None,
    method: Way = None,
    encoding: Encoded = None,
    seed: WebSeed = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            help="PNG or TIFF file; of a web TIFF.  [default: outputs/NAME.png, a web's .tif]",
        ),
    ] = None,
) -> None:
    """Write a built-in target as an sRGB-encoded image, or a web of any size from a photograph."""
    if name is None:
        typer.echo("\n".join(target_lines()))
        return
    request = TargetRequest(
        name=name,
        pixel_size=pixel_size,
        width=width,
        height=height,
        angle=angle,
        contrast=contrast,
    )
    more = {"--method": method, "--encoding": encoding, "--seed": seed}
    if Path(name).suffix:
        typer.echo(_web(request, more, out))
        return
    _refuse(more, f"{name} is a built-in target; expected it with a photograph alone")
    typer.echo(write_target(request, out or Path("outputs") / f"{name}.png"))


def _web(request: TargetRequest, more: dict[str, Any], out: Path | None) -> str:
    """Make a web of a photograph."""
    edge = {"--angle": request.angle, "--contrast": request.contrast}
    _refuse(edge, f"{request.name} is a photograph; expected it with the edge alone")
    sides = {
        key: request.number(key, unit)
        for key, unit in (("pixel_size", "um"), ("width", "mm"), ("height", "mm"))
    }
    web = web_of(Path(request.name), sides, {k.removeprefix("--"): v for k, v in more.items()})
    file = out or Path("outputs") / f"{web.image.stem}_web.tif"
    with progress("drawing the web", timed=True) as tell:
        done = write_web(web, file, tell)
    rows, columns = web.shape
    return (
        f"{columns} x {rows} pixels of {web.pixel_size_um:g} um, {WAYS[done]}\n"
        f'in a setup: image = "{file.as_posix()}", pixel_size = "{web.pixel_size_um:g} um", '
        'encoding = "linear"\n'
        f"wrote {file.as_posix()}"
    )


def _refuse(given: dict[str, Any], why: str) -> None:
    faults = [f"{name}: read {value}, but {why}" for name, value in given.items() if value]
    if faults:
        raise InputError(*faults)
