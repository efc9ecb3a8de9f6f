"""``linesim budget``."""

import typer

from linesim.cli.options import Json, SetupPath, Strict, chosen_setup, leave, print_json


def budget(setup: SetupPath = None, *, json: Json = False, strict: Strict = False) -> None:
    """Print the closed-form figures of a setup; no image is made."""
    from linesim.budget.budget import budget as figures_of  # noqa: PLC0415 -- quick --help
    from linesim.report.table import budget_text  # noqa: PLC0415 -- quick --help

    chosen = chosen_setup(setup)
    found = figures_of(chosen)
    if json:
        print_json(found.as_dict())
    else:
        typer.echo(budget_text(chosen, found))
    leave(found.verdicts, strict=strict)
