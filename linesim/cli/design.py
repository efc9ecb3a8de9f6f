"""``linesim design``."""

import tomllib
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.new import write_new
from linesim.cli.options import Json, Out, Report, chosen_folder, leave, show
from linesim.cli.progress import progress
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


def design(  # noqa: PLR0913 -- one argument an option
    job: JobPath = None,
    *,
    new: New = None,
    force: Replace = False,
    out: Out = None,
    json: Json = False,
    strict: NoneMeets = False,
    report: Report = False,
) -> None:
    """Find a station for a job, with the reasons and a list to buy from."""
    if new is not None:
        write_new(new, starter_job(), "design", force=force)
        return
    wanted = job_from(tomllib.loads(starter_job())) if job is None else load_job(job)
    folder = (out or Path("outputs/design")) if job is None else chosen_folder(out, job)
    with progress("judging") as update:
        found = design_of(wanted, update)
    written = write_design(found, folder)
    if report:
        written += (write_design_page(found, folder),)
    show(found, design_json, design_text, written, json=json)
    leave(met=found.best is not None, strict=strict)
