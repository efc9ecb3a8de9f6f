"""``linesim measure against``."""

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.measure.options import MaxPixels, measured
from linesim.cli.options import Json, Out, Report, chosen_folder, print_json
from linesim.files.folders import all_images
from linesim.setup.load import load_setup
from linesim.studies.measure.against import table
from linesim.studies.measure.against.page import write_page
from linesim.studies.measure.against.predicted import prediction
from linesim.studies.measure.against.study import compared


def against(  # noqa: PLR0913 -- one option a property of the run
    setup: Annotated[Path, typer.Argument(metavar="SETUP", help="Setup with the captured target.")],
    images: Annotated[
        list[Path], typer.Argument(metavar="IMAGE...", help="As delivered, or folders of them.")
    ],
    *,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 1 where a figure is off.")
    ] = False,
    report: Report = False,
    out: Out = None,
    max_pixels: MaxPixels = None,
    json: Json = False,
) -> None:
    """Hold captures against what their setup predicts: place, light, noise, sharpness."""
    chosen = load_setup(setup)
    folder = chosen_folder(out, setup) if report else None
    own = prediction(chosen)
    each_of = partial(compared, own, chosen, max_pixels=max_pixels)
    seen, refused = measured(all_images(images), each_of)
    found = list(seen.values())
    agreements = [each.agreement for each in found]
    wrote = None if folder is None else write_page(found, chosen.title, folder)
    if json:
        each = [one.as_dict() for one in agreements]
        several = {"captures": each, "refused": {name: list(own) for name, own in refused.items()}}
        print_json(each[0] if len(each) == 1 and not refused else several)
    else:
        typer.echo(table.texts(agreements, chosen.title))
        for faults in refused.values():
            typer.echo("\n".join(faults), err=True)
        if wrote is not None:
            typer.echo(f"\nwrote {wrote.as_posix()}")
    if strict and any(one.findings for one in agreements):
        raise typer.Exit(1)
