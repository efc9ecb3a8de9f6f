"""``linesim measure``: figures from an image, one file a subcommand."""

import typer

measure = typer.Typer(
    name="measure",
    help="Read figures off images, simulated or captured.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
