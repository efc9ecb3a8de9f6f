"""``linesim new``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.files.atomic import write_text
from linesim.setup.errors import refuse
from linesim.setup.infiles import starter_text


def new(
    path: Annotated[Path, typer.Argument(help="File to write; a bare name gets .toml.")] = Path(
        "setup.toml"
    ),
    *,
    force: Annotated[bool, typer.Option("--force", help="Replace a file that is there.")] = False,
) -> None:
    """Write a commented starter setup that runs as it stands."""
    write_new(path, starter_text(), "scan", force=force)


def write_new(path: Path, text: str, command: str, *, force: bool) -> None:
    """Write a file to begin with, over one that is there only where that is asked for."""
    if not path.suffix and not path.is_dir():
        path = path.with_suffix(".toml")
    if path.is_file() and not force:
        refuse(f'output "{path}" is there already; choose another name, or --force to replace it')
    write_text(path, text)
    typer.echo(f"wrote {path}; next: linesim {command} {path}")
