"""``linesim target calibrate``."""

from pathlib import Path
from typing import Annotated, cast, get_args

import typer

from linesim.cli.options import Json, Out, Report, chosen_folder, print_json
from linesim.files.srgb import Encoding
from linesim.metrics.region import Region
from linesim.report.page import write_pages
from linesim.studies.calibrate.asked import (
    Asked,
    read_corners,
    read_patch,
    read_pixel_size,
    read_ruler,
)
from linesim.studies.calibrate.minded import cautions
from linesim.studies.calibrate.outputs import calibration_json, white_of, write_calibration
from linesim.studies.calibrate.page import calibration_page
from linesim.studies.calibrate.study import calibrate as calibrate_of
from linesim.studies.calibrate.words import spoken, target_lines, target_text
from linesim.studies.measure.sharpness_input import one_of


def calibrate(  # noqa: PLR0913 -- one option a property of the photograph
    image: Annotated[Path, typer.Argument(metavar="IMAGE", help="PNG, TIFF or JPEG.")],
    *,
    patch: Annotated[
        list[str] | None,
        typer.Option(
            metavar="X,Y,W,H = R",
            help="Part of the image of known reflectance, one number or red, green, blue; several.",
        ),
    ] = None,
    blank: Annotated[
        Path | None,
        typer.Option(metavar="IMAGE", help="An even white sheet in the same light and frame."),
    ] = None,
    flatten: Annotated[
        bool, typer.Option("--flatten", help="Estimate the fall-off of the light and take it off.")
    ] = False,
    length: Annotated[
        str | None,
        typer.Option(metavar="X,Y X,Y = LENGTH", help="Two points and how far apart they are."),
    ] = None,
    corners: Annotated[
        str | None,
        typer.Option(
            metavar="'X,Y X,Y X,Y X,Y'", help="Of a rectangle, clockwise from its upper left."
        ),
    ] = None,
    size: Annotated[
        str | None, typer.Option(metavar="W x H", help='Of that rectangle: "200 mm x 100 mm".')
    ] = None,
    pixel_size: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help='Side of a pixel, such as "20 um" or "600 dpi".'),
    ] = None,
    crop: Annotated[
        str | None, typer.Option(metavar="X,Y,W,H", help="The part that becomes the target.")
    ] = None,
    grey: Annotated[
        bool, typer.Option("--grey", help="Make a colour image grey, by luminance.")
    ] = False,
    encoding: Annotated[
        str, typer.Option(metavar="NAME", help="What the numbers of the image stand for.")
    ] = "srgb",
    out: Out = None,
    json: Json = False,
    report: Report = False,
) -> None:
    """Make a photograph or an office scan a target of known reflectance and size."""
    one_of(encoding, get_args(Encoding), "--encoding")
    asked = Asked(
        image=image,
        patches=tuple(map(read_patch, patch or ())),
        encoding=cast("Encoding", encoding),
        blank=blank,
        flatten=flatten,
        grey=grey,
        crop=None if crop is None else Region.read(crop, "--crop"),
        ruler=None if length is None else read_ruler(length),
        corners=read_corners(corners, size),
        pixel_size_um=read_pixel_size(pixel_size),
    )
    folder = chosen_folder(out, image)
    found = calibrate_of(asked)
    written = write_calibration(found, folder)
    written += write_pages(folder, calibration_page(found)) if report else ()
    if json:
        print_json(calibration_json(found))
    else:
        lines = target_lines(found.scale.pixel_size_um, white_of(found.data))
        typer.echo(target_text(spoken(found), cautions(found), lines, written))
