"""``linesim scan``."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.device import NUMPY, Device, device_for
from linesim.cli.options import (
    Force,
    Json,
    OnePage,
    Out,
    Report,
    Seed,
    SetupPath,
    Strict,
    TrueProportion,
    chosen_folder,
    chosen_setup,
    leave,
    pictures,
    print_pictures,
    wrote,
)
from linesim.cli.progress import progress
from linesim.figures.verdicts import Verdict
from linesim.files.unfinished import note_of
from linesim.report.page import Wanted
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.studies import scan as room
from linesim.studies.scan.outputs import SAMPLES, scan_text, write_filed, write_scan
from linesim.studies.scan.streamed import FiledScan, Manner, is_long, scan_to_file
from linesim.studies.scan.study import Scan
from linesim.studies.scan.study import scan as scan_of

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
    one_page: OnePage = False,
    stream: Stream = False,
    resume: Resume = False,
    force: Force = False,
    device: Device = NUMPY,
) -> None:
    """Render what a setup would capture: the scan, a picture of it, and its figures."""
    views, folder = pictures(chosen_setup(setup)), chosen_folder(out, setup)
    ask = _Ask(
        stream=stream or resume,
        manner=Manner(resume=resume, force=force, device=device_for(device, views.values())),
        pages=Wanted(report=report, one_page=one_page),
        true_proportion=true_proportion,
    )
    verdicts: list[Verdict] = []
    figures: dict[str, dict[str, object]] = {}
    for index, (name, view) in enumerate(views.items()):
        # each picture has a seed of its own, which it shares with none of another seed
        found, written = _scanned(view, folder / name, len(views) * seed + index, ask)
        verdicts.extend(found.budget.verdicts)
        figures[name] = found.metrics()
        if not json:
            typer.echo(f"{chr(10) if index else ''}{scan_text(found)}\n\n{wrote(written)}")
    if json:
        print_pictures(figures)
    leave(met=all(verdict.met for verdict in verdicts), strict=strict)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ask:
    """How a scan is made and what is written, as typed."""

    stream: bool
    manner: Manner
    pages: Wanted
    true_proportion: bool


def _scanned(
    view: Setup, folder: Path, seed: int, ask: _Ask
) -> tuple[Scan | FiledScan, tuple[Path, ...]]:
    """Scan one picture, and write what it leaves."""
    if ask.stream or is_long(view):
        _refuse_pages(ask)
        return _streamed(view, folder, seed, ask.manner)
    found = scan_of(view, seed, force=ask.manner.force, device=ask.manner.device)
    written = write_scan(found, folder, true_proportion=ask.true_proportion)
    if ask.pages:
        written += room.write_scan_report(found, folder, ask.pages)
    return found, written


def _streamed(
    chosen: "Setup", folder: Path, seed: int, manner: "Manner"
) -> "tuple[FiledScan, tuple[Path, ...]]":
    """Render into the file, and write what goes with it."""
    note = note_of(folder / SAMPLES)
    if manner.resume and not note.exists():
        typer.echo("linesim: nothing was broken off here; the scan begins anew", err=True)
    try:
        with progress("lines", timed=True) as update:
            found = scan_to_file(chosen, folder / SAMPLES, seed, manner=manner, progress=update)
        return found, write_filed(found, folder)
    except KeyboardInterrupt:
        if note.exists():
            typer.echo("linesim: --resume goes on from here", err=True)
        raise


def _refuse_pages(ask: _Ask) -> None:
    """Refuse what needs the whole scan at hand."""
    needs = {
        "--report": ask.pages.report,
        "--one-page": ask.pages.one_page,
        "--true-proportion": ask.true_proportion,
    }
    for name, asked in needs.items():
        if asked:
            refuse(
                f"{name}: asked for a scan that is written strip by strip, whose picture shows "
                "three places as delivered; expected a shorter acquisition.length for it"
            )
