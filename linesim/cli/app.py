"""The commands, one file each."""

from typing import Annotated

import typer

from linesim import __version__
from linesim.cli.late import late_group

_USED = ("numpy", "scipy", "imagecodecs", "tifffile", "pydantic", "pint")
COMMANDS = {
    "new": "Write a commented starter setup.",
    "design": "Find a station for a job, and a list to buy from.",
    "budget": "Print the closed-form figures; no image is made.",
    "scan": "Render what a setup would capture, and measure it.",
    "compare": "Set binning modes, or any variants, side by side.",
    "vary": "Figures along a range of one key or two.",
    "rank": "Judge every option of a space of set-ups.",
    "measure": "Read figures off images, simulated or captured.",
    "fit": "Fit a station's unknowns to captures of its target.",
    "dataset": "Write a labelled data set.",
    "target": "Make a target: drawn, of a photograph, of a scan.",
    "preview": "Open a local page with sliders.",
}
app = typer.Typer(
    name="linesim",
    cls=late_group("linesim.cli", COMMANDS),
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


def _version(asked: bool) -> None:  # noqa: FBT001 -- typer hands the flag over by position
    if asked:
        from importlib.metadata import version  # noqa: PLC0415 -- quick --help

        typer.echo(f"linesim {__version__}")
        typer.echo(" ".join(f"{name} {version(name)}" for name in _USED))
        raise typer.Exit


@app.callback()
def callback(
    *,
    _show: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Versions, and stop."),
    ] = False,
) -> None:
    """
    Simulate what a line-scan inspection station would capture, and judge it in numbers.

    Exit codes: 0 done, 1 a requirement is missed (with --strict), 2 the input is refused.
    """
