"""``linesim target``: targets drawn, photographed or captured, one file a subcommand."""

import typer

from linesim.cli.late import late_group

COMMANDS = {
    "draw": "List the built-in targets, or write one as an image; may be left out.",
    "calibrate": "Make a photograph or an office scan a target of known reflectance.",
    "extend": "Make metres of web from a photograph, without a visible repeat.",
    "restore": "Make a scan a target again, the blur of its own station taken off.",
}
target = typer.Typer(
    name="target",
    cls=late_group("linesim.cli.target", COMMANDS, alone="draw"),
    help="Make a target: drawn, of a photograph, of a scan.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@target.callback()
def callback() -> None:
    """Make a target: drawn, of a photograph, of a scan."""
