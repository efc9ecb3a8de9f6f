"""Arguments and options that several commands share."""

import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from linesim.files.atomic import json_text
from linesim.report.page import refuse_without_extra
from linesim.setup.errors import refuse
from linesim.setup.lights import light_views
from linesim.setup.load import load_setup, sample_setup
from linesim.setup.setup import Setup

Found = TypeVar("Found")
SetupPath = Annotated[
    Path | None,
    typer.Argument(
        metavar="[SETUP]",
        help="Setup file (linesim new writes one); left out: the built-in sample.",
    ),
]
Json = Annotated[
    bool, typer.Option("--json", help="One JSON object on stdout, and nothing else there.")
]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Seed of all noise.")]
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="FOLDER", help="Folder to write to.  [default: outputs/NAME]"),
]
Strict = Annotated[
    bool,
    typer.Option(
        "--strict", help="Exit with 1 where a verdict is missed or the station cannot run."
    ),
]


def _possible(report: bool) -> bool:  # noqa: FBT001 -- typer hands the flag over by position
    """Refuse a report that could not be written, before any work is done."""
    if report:
        refuse_without_extra()
    return report


Report = Annotated[
    bool,
    typer.Option(
        "--report",
        callback=_possible,
        help="Also write report.html: one page to send, which needs no network.",
    ),
]
OnePage = Annotated[
    bool,
    typer.Option(
        "--one-page",
        callback=_possible,
        help="Also write one_page.html: the first page of the report alone, one sheet of A4.",
    ),
]
TrueProportion = Annotated[
    bool,
    typer.Option(
        "--true-proportion",
        help="Undo in pictures the stretch of unequal sampling; the TIFF stays.",
    ),
]

Force = Annotated[
    bool, typer.Option("--force", help="Begin also where memory may not suffice for the whole run.")
]


def chosen_setup(path: Path | None) -> "Setup":
    """Load the setup asked for, or the built-in sample."""
    return sample_setup() if path is None else load_setup(path)


def pictures(setup: Setup) -> dict[str, Setup]:
    """Give the stations of all pictures by name: of multiplexed lights one each, else "" alone."""
    return dict(light_views(setup)) if setup.light.multiplexed else {"": setup}


def chosen_folder(out: Path | None, path: Path | None) -> Path:
    """Choose where a run lands."""
    folder = out or Path("outputs") / (path.stem if path else "sample")
    there = next(each for each in (folder, *folder.parents) if each.exists())
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        what = f'output "{folder}"' if there == folder else f'output "{folder}": "{there}"'
        kind = "may not be written to" if there.is_dir() else "is a file"
        refuse(f"{what} {kind}; expected a folder that you may write to")
    return folder


def print_json(value: Mapping[str, object]) -> None:
    """Print one JSON object."""
    # bytes, so that JSON is UTF-8 whatever the console's own encoding
    typer.echo(json_text(dict(value)).encode(), nl=False)


def print_pictures(figures: Mapping[str, Mapping[str, object]]) -> None:
    """Print the figures of all pictures as one JSON object."""
    own = figures.get("")
    lights = [{"light": name, **each} for name, each in figures.items()]
    print_json({"lights": lights} if own is None else own)


def show(
    found: Found,
    figures: Callable[[Found], Mapping[str, object]],
    text: Callable[[Found], str],
    written: Sequence[Path],
    *,
    json: bool,
) -> None:
    """Print a result as JSON alone, or as text with the files that were written."""
    if json:
        print_json(figures(found))
    else:
        typer.echo(f"{text(found)}\n\n{wrote(written)}")


def wrote(written: Sequence[Path]) -> str:
    """Name what was written into a folder: files, and folders in it that hold more."""
    folder = written[0].parent
    places = [path.relative_to(folder).parts for path in written]
    names = dict.fromkeys(first if not rest else f"{first}/" for first, *rest in places)
    return f"wrote {', '.join(names)} in {folder.as_posix()}/"


def leave(*, met: bool, strict: bool) -> None:
    """End with 1 where something is missed, if that is asked for."""
    if strict and not met:
        raise typer.Exit(1)
