"""``linesim scan``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.options import (
    Force,
    Json,
    Out,
    Report,
    Seed,
    SetupPath,
    Strict,
    TrueProportion,
    chosen_folder,
    chosen_setup,
    leave,
    print_json,
)
from linesim.cli.progress import progress
from linesim.files.unfinished import note_of
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.studies.scan.outputs import SAMPLES, write_filed, write_scan
from linesim.studies.scan.page import write_scan_report
from linesim.studies.scan.streamed import FiledScan, Manner, is_long, scan_to_file
from linesim.studies.scan.study import Scan
from linesim.studies.scan.study import scan as scan_of
from linesim.studies.scan.table import scan_text

Stream = Annotated[
    bool,
    typer.Option(
        "--stream",
        help="Write the scan strip by strip, in memory that does not grow with its length; without "
        "it, only scans of more than 268 million samples are.",
    ),
]
Resume = Annotated[
    bool, typer.Option("--resume", help="Go on with a streamed scan that was broken off.")
]


def scan(  # noqa: PLR0913 -- one argument an option
    setup: SetupPath = None,
    *,
    out: Out = None,
    seed: Seed = 0,
    json: Json = False,
    strict: Strict = False,
    true_proportion: TrueProportion = False,
    report: Report = False,
    stream: Stream = False,
    resume: Resume = False,
    force: Force = False,
) -> None:
    """Render what a setup would capture: the scan, a picture of it, and its figures."""
    chosen, folder = chosen_setup(setup), chosen_folder(out, setup)
    found: Scan | FiledScan
    if stream or resume or is_long(chosen):
        _refuse_pages(report=report, true_proportion=true_proportion)
        found, written = _streamed(chosen, folder, seed, Manner(resume=resume, force=force))
    else:
        found = scan_of(chosen, seed, force=force)
        written = _written(found, folder, report=report, true_proportion=true_proportion)
    if json:
        print_json(found.metrics())
    else:
        typer.echo(scan_text(found))
        names = ", ".join(path.name for path in written)
        typer.echo(f"\nwrote {names} in {written[0].parent.as_posix()}/")
    leave(found.budget.verdicts, strict=strict)


def _written(
    found: "Scan", folder: Path, *, report: bool, true_proportion: bool
) -> tuple[Path, ...]:
    """Write what a scan in memory leaves."""
    written = write_scan(found, folder, true_proportion=true_proportion)
    if report:
        written = (*written, write_scan_report(found, folder))
    return written


def _streamed(
    chosen: "Setup", folder: Path, seed: int, manner: "Manner"
) -> "tuple[FiledScan, tuple[Path, ...]]":
    """Render into the file, and write what goes with it."""
    note = note_of(folder / SAMPLES)
    if manner.resume and not note.exists():
        typer.echo("linesim: nothing was broken off here; the scan begins anew", err=True)
    try:
        with progress("lines", timed=True) as tell:
            found = scan_to_file(chosen, folder / SAMPLES, seed, manner=manner, tell=tell)
        return found, write_filed(found, folder)
    except KeyboardInterrupt:
        if note.exists():
            typer.echo("linesim: --resume goes on from here", err=True)
        raise


def _refuse_pages(*, report: bool, true_proportion: bool) -> None:
    """Refuse what needs the whole scan at hand."""
    for name, asked in (("--report", report), ("--true-proportion", true_proportion)):
        if asked:
            msg = (
                f"{name}: asked for a scan that is written strip by strip, whose picture shows "
                "three places as delivered; expected a shorter acquisition.length for it"
            )
            raise InputError(msg)
