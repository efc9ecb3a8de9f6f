"""``linesim measure detection``."""

from typing import Annotated

import typer

from linesim.cli.measure.options import Plot
from linesim.cli.options import Json, Seed, SetupPath, chosen_setup, print_json
from linesim.studies.measure.detection.study import inject
from linesim.studies.measure.detection.table import detection_figures, detection_text, write_roc


def detection(
    setup: SetupPath = None,
    *,
    count: Annotated[
        int, typer.Option("--count", min=100, max=10_000_000, help="Defects to inject.")
    ] = 20_000,
    seed: Seed = 0,
    plot: Plot = None,
    json: Json = False,
) -> None:
    """Inject many of a setup's smallest defects, search them, and compare with the closed form."""
    chosen = chosen_setup(setup)
    found = inject(chosen, count, seed)
    if plot is not None:
        write_roc(chosen, found, plot)
    if json:
        print_json(detection_figures(found))
    else:
        typer.echo(detection_text(chosen, found))
        if plot is not None:
            typer.echo(f"\nwrote {plot.as_posix()}")
