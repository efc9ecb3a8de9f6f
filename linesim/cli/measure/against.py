"""``linesim measure against``."""

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure.options import MaxPixels, show
from linesim.cli.options import Json
from linesim.setup.load import load_setup
from linesim.studies.measure.against import table
from linesim.studies.measure.against.study import measure_against


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
    show(found, partial(table.text, title=chosen.title), json=json)
    if strict and found.findings:
        raise typer.Exit(1)
