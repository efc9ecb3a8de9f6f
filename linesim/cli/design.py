"""``linesim design``."""

import tomllib
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.options import Json, Out, chosen_folder, print_json
from linesim.cli.progress import progress
from linesim.files.atomic import write_text
from linesim.setup.errors import InputError
from linesim.studies.design.job import job_from, load_job, starter_job
from linesim.studies.design.outputs import design_json, write_design
from linesim.studies.design.page import write_design_page
from linesim.studies.design.study import design as design_of
from linesim.studies.design.table import design_text

JobPath = Annotated[
    Path | None,
    typer.Argument(metavar="[JOB]", help="File with [job] and [limits]; without it, an example."),
]
New = Annotated[
    Path | None, typer.Option("--new", metavar="FILE", help="Write a commented job, and stop.")
]
Replace = Annotated[bool, typer.Option("--force", help="With --new: replace a file that is there.")]
NoneMeets = Annotated[
    bool, typer.Option("--strict", help="Exit with 1 where nothing does the job.")
]


def design(
    job: JobPath = None,
    *,
    new: New = None,
    force: Replace = False,
    out: Out = None,
    json: Json = False,
    strict: NoneMeets = False,
) -> None:
    """Find a station for a job, with the reasons and a list to buy from."""
    if new is not None:
        _write_new(new, force=force)
        return
    wanted = job_from(tomllib.loads(starter_job())) if job is None else load_job(job)
    folder = (out or Path("outputs/design")) if job is None else chosen_folder(out, job)
    with progress("judging") as tell:
        found = design_of(wanted, tell)
    written = write_design(found, folder)
    if find_spec("jinja2") is not None:
        written += (write_design_page(found, folder),)
    if json:
        print_json(design_json(found))
    else:
        names = ", ".join(path.name for path in written)
        typer.echo(f"{design_text(found)}\n\nwrote {names} in {folder.as_posix()}/")
    if strict and found.best is None:
        raise typer.Exit(1)


def _write_new(path: Path, *, force: bool) -> None:
    if path.is_file() and not force:
        msg = f'output "{path}" is there already; choose another name, or --force to replace it'
        raise InputError(msg)
    write_text(path, starter_job())
    typer.echo(f"wrote {path}; next: linesim design {path}")
