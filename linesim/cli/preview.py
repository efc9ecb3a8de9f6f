"""``linesim preview``."""

import webbrowser
from typing import Annotated

import typer

from linesim import preview as room
from linesim.cli.options import SetupPath, chosen_setup
from linesim.setup.arguments import refuse_not_installed


def preview(
    setup: SetupPath = None,
    *,
    port: Annotated[
        int, typer.Option("--port", help="To listen on, on this machine alone; 0: any free one.")
    ] = 0,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
) -> None:
    """Open a local page: move light, speed, lens, binning and gain, and see the scan."""
    refuse_not_installed("preview", ("starlette", "uvicorn"), "preview")
    chosen = chosen_setup(setup)

    def announce(address: str) -> None:
        typer.echo(f"preview of {setup.name if setup else 'the built-in sample'}: {address}")
        typer.echo("this machine alone can open it, with this address; Ctrl-C stops it")
        if browser:
            webbrowser.open(address)

    room.run(chosen, setup.name if setup else "the built-in sample", port, announce)
    typer.echo("preview stopped")
