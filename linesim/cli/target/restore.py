"""``linesim target restore``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.options import Json, Out, Report, chosen_folder, print_json
from linesim.report.page import write_pages
from linesim.setup.load import load_setup
from linesim.studies.calibrate.outputs import white_of
from linesim.studies.calibrate.words import target_lines, target_text
from linesim.studies.restore.outputs import restored_json, write_restored
from linesim.studies.restore.page import restored_page
from linesim.studies.restore.study import restored
from linesim.studies.restore.words import spoken


def restore(
    setup: Annotated[
        Path, typer.Argument(metavar="SETUP", help="Setup of the station that took the scan.")
    ],
    scan: Annotated[Path, typer.Argument(metavar="SCAN", help="As the camera delivered it.")],
    *,
    out: Out = None,
    json: Json = False,
    report: Report = False,
) -> None:
    """Make a scan a target again, with the blur of its own station taken off."""
    chosen, folder = load_setup(setup), chosen_folder(out, scan)
    found = restored(chosen, scan)
    written = write_restored(found, folder)
    written += write_pages(folder, restored_page(found)) if report else ()
    if json:
        print_json(restored_json(found))
    else:
        lines = target_lines(found.pixel_size_um, white_of(found.data))
        typer.echo(target_text(spoken(found), found.cautions, lines, written))
