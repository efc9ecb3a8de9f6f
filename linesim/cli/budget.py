"""``linesim budget``."""

import typer

from linesim.cli.options import (
    Json,
    SetupPath,
    Strict,
    chosen_setup,
    leave,
    pictures,
    print_pictures,
)
from linesim.figures.budget import budget as figures_of
from linesim.report.table import budget_text


def budget(setup: SetupPath = None, *, json: Json = False, strict: Strict = False) -> None:
    """Print the closed-form figures of a setup; no image is made."""
    views = pictures(chosen_setup(setup))
    found = {name: figures_of(view) for name, view in views.items()}
    if json:
        print_pictures({name: each.as_dict() for name, each in found.items()})
    else:
        typer.echo("\n\n".join(budget_text(views[name], each) for name, each in found.items()))
    verdicts = [verdict for each in found.values() for verdict in each.verdicts]
    leave(met=all(verdict.met for verdict in verdicts), strict=strict)
