"""``linesim measure camera``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure.options import BitDepth, MaxPixels, show
from linesim.cli.options import Json, Out, chosen_folder
from linesim.cli.progress import progress
from linesim.setup.errors import InputError
from linesim.setup.fields import Quantity
from linesim.setup.vocabulary import PITCH
from linesim.studies.measure.camera import table
from linesim.studies.measure.camera.outputs import write_camera
from linesim.studies.measure.camera.study import measure_camera


def camera(  # noqa: PLR0913 -- one option a property of the measurement
    manifest: Annotated[
        Path,
        typer.Argument(
            metavar="MANIFEST",
            help="CSV: file,kind,exposure_us and irradiance_w_m2 or photons; or a folder with "
            "flat/ and dark/ whose files state their exposures.",
        ),
    ],
    *,
    wavelength: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help='Of the light, such as "530 nm"; for irradiances.'),
    ] = None,
    pixel: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help='Width of a pixel, such as "7.5 um"; the same.'),
    ] = None,
    pixel_height: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Of a pixel that is not square.")
    ] = None,
    bit_depth: BitDepth = None,
    max_pixels: MaxPixels = None,
    out: Out = None,
    json: Json = False,
) -> None:
    """Read a camera's figures off flat and dark frames, by EMVA 1288."""
    lengths = _lengths(wavelength, pixel, pixel_height)
    folder = chosen_folder(out, manifest)
    with progress("frames") as update:
        found = measure_camera(
            manifest,
            wavelength_nm=lengths[0],
            pixel_width_um=lengths[1],
            pixel_height_um=lengths[2],
            bit_depth=bit_depth,
            max_pixels=max_pixels,
            progress=update,
        )
    written = write_camera(found, folder)
    names = ", ".join(path.name for path in written)
    left = "" if len(written) > 2 else '; for the page of plots: pip install "linesim[report]"'  # noqa: PLR2004 -- section, figures, page
    show(found, table.text, json=json, wrote=f"{names} in {folder.as_posix()}/{left}")


def _lengths(
    wavelength: str | None, pixel: str | None, pixel_height: str | None
) -> list[float | None]:
    """Read the options that carry a unit, and refuse all faulty ones at once."""
    light = Quantity(what="a wavelength", example='"530 nm"', unit="nm", low=100.0, high=3000.0)
    found: list[float | None] = []
    faults: list[str] = []
    for option, text, kind in (
        ("--wavelength", wavelength, light),
        ("--pixel", pixel, PITCH),
        ("--pixel-height", pixel_height, PITCH),
    ):
        try:
            found.append(None if text is None else float(str(kind.checked(text, Path()))))
        except ValueError as fault:
            faults.append(f"{option}: {fault}")
    if pixel is None and pixel_height is not None:
        faults.append("--pixel-height: a height was read, but no width; expected --pixel as well")
    if faults:
        raise InputError(*faults)
    return found
