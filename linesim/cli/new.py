"""``linesim new``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.options import write_new
from linesim.setup.infiles import starter_text


def new(
    path: Annotated[Path, typer.Argument(help="File to write.")] = Path("setup.toml"),
    *,
    force: Annotated[bool, typer.Option("--force", help="Replace a file that is there.")] = False,
) -> None:
    """Write a commented starter setup that runs as it stands."""
    write_new(path, starter_text(), "scan", force=force)
