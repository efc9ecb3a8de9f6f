"""The commands, one file each."""

from typing import Annotated

import typer

from linesim import __version__
from linesim.cli.budget import budget
from linesim.cli.compare import compare
from linesim.cli.dataset import dataset
from linesim.cli.measure import measure
from linesim.cli.new import new
from linesim.cli.preview import preview
from linesim.cli.rank import rank
from linesim.cli.scan import scan
from linesim.cli.target import target
from linesim.cli.vary import vary

app = typer.Typer(
    name="linesim",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


def _version(asked: bool) -> None:  # noqa: FBT001 -- typer hands the flag over by position
    if asked:
        from importlib.metadata import version  # noqa: PLC0415 -- only for this option

        used = ("numpy", "scipy", "imagecodecs", "tifffile", "pydantic", "pint")
        typer.echo(f"linesim {__version__}")
        typer.echo(" ".join(f"{name} {version(name)}" for name in used))
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


app.command()(new)
app.command()(budget)
app.command()(scan)
app.command()(compare)
app.command()(vary)
app.command()(rank)
app.add_typer(measure)
app.command()(dataset)
app.command()(target)
app.command()(preview)
