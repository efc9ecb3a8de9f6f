"""``linesim budget``."""

import typer

from linesim.cli.options import Json, SetupPath, Strict, chosen_setup, leave, print_json
from linesim.figures.budget import budget as figures_of
from linesim.report.table import budget_text


def budget(setup: SetupPath = None, *, json: Json = False, strict: Strict = False) -> None:
    """Print the closed-form figures of a setup; no image is made."""
    chosen = chosen_setup(setup)
    found = figures_of(chosen)
    if json:
        print_json(found.as_dict())
    else:
        typer.echo(budget_text(chosen, found))
    leave(found.verdicts, strict=strict)
