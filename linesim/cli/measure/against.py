"""``linesim measure against``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure.options import MaxPixels
from linesim.cli.options import Json, print_json
from linesim.setup.load import load_setup
from linesim.studies.measure.against.study import measure_against
from linesim.studies.measure.against.table import agreement_text


def against(
    setup: Annotated[Path, typer.Argument(metavar="SETUP", help="Setup with the captured target.")],
    image: Annotated[Path, typer.Argument(metavar="IMAGE", help="As the camera delivered it.")],
    *,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 1 where a figure is off.")
    ] = False,
    max_pixels: MaxPixels = None,
    json: Json = False,
) -> None:
    """Compare a captured image with what its setup predicts: signal, noise, SNR, sharpness."""
    chosen = load_setup(setup)
    found = measure_against(chosen, image, max_pixels=max_pixels)
    if json:
        print_json(found.as_dict())
    else:
        typer.echo(agreement_text(chosen.title, found))
    if strict and found.findings:
        raise typer.Exit(1)
