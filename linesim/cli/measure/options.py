"""What the measuring commands share: options, and how a result is shown."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Annotated, Protocol, TypeVar

import typer

from linesim.cli.options import Json, print_json
from linesim.figures.cautions import Caution
from linesim.files.atomic import write_bytes
from linesim.files.folders import images_in
from linesim.metrics.region import Region
from linesim.setup.errors import InputError, refuse
from linesim.studies.measure.sharpness_input import read_pitch


class Measured(Protocol):
    """What every measurement gives."""

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What speaks against the figures."""

    def as_dict(self) -> Mapping[str, object]:
        """Give all figures and cautions as JSON has them."""


Found = TypeVar("Found", bound=Measured)
Result = TypeVar("Result")
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
Channel = Annotated[
    str | None,
    typer.Option(
        "--channel", metavar="COLOUR", help="red, green or blue; left out: green, or the only one."
    ),
]
DirectionOf = Annotated[
    str | None,
    typer.Option(
        "--direction",
        metavar="WAY",
        help="Which way light changes, across or along; left out: found.",
    ),
]
Encoding = Annotated[
    str,
    typer.Option(
        "--encoding", metavar="NAME", help="What samples stand for: linear light, or srgb."
    ),
]
PixelPitch = Annotated[
    str | None,
    typer.Option(
        "--pixel-pitch",
        metavar="LENGTH",
        help='Of samples on the target: "75 um", or across x along: "75 um x 60 um".',
    ),
]


def _png(path: Path | None) -> Path | None:
    """Refuse another ending before any work is done."""
    if path is not None and path.suffix.lower() != ".png":
        refuse(f'--plot "{path}": read the ending "{path.suffix}"; expected .png')
    return path


Plot = Annotated[
    Path | None,
    typer.Option("--plot", metavar="FILE.png", callback=_png, help="Write a plot as well."),
]


def chosen_region(text: str | None) -> Region | None:
    """Read the region asked for."""
    return None if text is None else Region.read(text)


def chosen_pitch_um(text: str | None) -> tuple[float, float] | None:
    """Read the pitch asked for."""
    return None if text is None else read_pitch(text)


def drawn(found: Found, png: Callable[[Found], bytes], path: Path | None) -> str:
    """Write the plot asked for, and name it."""
    if path is None:
        return ""
    write_bytes(path, png(found))
    return path.as_posix()


def show_each(
    image: Path,
    measure: Callable[[Path], Found],
    text: Callable[[Found], str],
    *,
    json: bool,
    plot: tuple[Path | None, Callable[[Found], bytes]],
) -> None:
    """Measure an image, or all of a folder, and print what was found; write the plot of one."""
    path, png = plot
    if not image.is_dir():
        one = measure(image)
        show(one, text, json=json, wrote=drawn(one, png, path))
        return
    if path is not None:
        refuse(f'--plot "{path}": a folder of images was read; expected one image')
    found, refused = measured(images_in(image), measure)
    if json:
        read = {name: own.as_dict() for name, own in found.items()}
        print_json({"images": read, "refused": {name: list(own) for name, own in refused.items()}})
        return
    for name, own in found.items():
        typer.echo(f"{name}\n{text(own)}\n")
    for faults in refused.values():
        typer.echo("\n".join(faults), err=True)


def measured(
    images: Sequence[Path], measure: Callable[[Path], Result]
) -> tuple[dict[str, Result], dict[str, tuple[str, ...]]]:
    """Measure images by their names; keep what is said of those that cannot be."""
    found: dict[str, Result] = {}
    refused: dict[str, tuple[str, ...]] = {}
    for each in images:
        try:
            found[each.name] = measure(each)
        except InputError as fault:
            refused[each.name] = fault.faults
    if not found:
        raise InputError(*(fault for faults in refused.values() for fault in faults))
    return found, refused


def show(found: Found, text: Callable[[Found], str], *, json: bool, wrote: str = "") -> None:
    """Print a result as JSON alone, or as text with the files that were written."""
    if json:
        print_json(found.as_dict())
        return
    typer.echo(text(found))
    if wrote:
        typer.echo(f"\nwrote {wrote}")


def area_command(
    measure: Callable[..., Found],
    text: Callable[[Found], str],
    png: Callable[[Found], bytes],
    *,
    image_help: str,
    does: str,
) -> Callable[..., None]:
    """Make a command that measures a region of an image above black, or of all in a folder."""

    def command(  # noqa: PLR0913 -- one option a property of the measurement
        image: Annotated[Path, typer.Argument(metavar="IMAGE", help=image_help)],
        *,
        region: Area = None,
        black: Black = None,
        bit_depth: BitDepth = None,
        max_pixels: MaxPixels = None,
        plot: Plot = None,
        json: Json = False,
    ) -> None:
        measured = partial(
            measure,
            region=chosen_region(region),
            black_dn=black,
            bit_depth=bit_depth,
            max_pixels=max_pixels,
        )
        show_each(image, measured, text, json=json, plot=(plot, png))

    command.__doc__ = does
    return command
