"""Arguments and options that several commands share."""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from linesim.budget.verdicts import Verdict
    from linesim.setup.setup import Setup
    from linesim.study.tasks import Crew

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
        from linesim.report.page import refuse_without_extra  # noqa: PLC0415 -- quick --help

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
TrueProportion = Annotated[
    bool,
    typer.Option(
        "--true-proportion",
        help="Undo in pictures the stretch of unequal sampling; the TIFF stays.",
    ),
]

Force = Annotated[
    bool,
    typer.Option("--force", help="Begin also where memory may not suffice for the whole run."),
]
Workers = Annotated[
    int | None,
    typer.Option(
        min=1,
        help="Processes of one thread each, for long runs.  [default: this process, in threads]",
    ),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS",
        help='Workers of a Dask scheduler, "tcp://HOST:PORT" in a network you trust; "local:2" '
        "starts one on this machine. All must see the same files under the same paths. "
        "Extra: cluster.",
    ),
]


def chosen_setup(path: Path | None) -> "Setup":
    """
    Load the setup asked for, or the built-in sample.

    Parameters
    ----------
    path : pathlib.Path or None
        As given on the command line.

    Returns
    -------
    Setup
        Checked.

    Raises
    ------
    InputError
        Where it is refused.
    """
    from linesim.setup.load import load_setup, sample_setup  # noqa: PLC0415 -- quick --help

    return sample_setup() if path is None else load_setup(path)


def chosen_folder(out: Path | None, path: Path | None) -> Path:
    """
    Choose where a run lands.

    Parameters
    ----------
    out : pathlib.Path or None
        As asked.
    path : pathlib.Path or None
        The setup file, which gives the name.

    Returns
    -------
    pathlib.Path
        ``outputs/NAME`` by default.

    Raises
    ------
    InputError
        Where nothing can be written there, so that it is told before the work is done.
    """
    folder = out or Path("outputs") / (path.stem if path else "sample")
    there = next(each for each in (folder, *folder.parents) if each.exists())
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        from linesim.setup.errors import InputError  # noqa: PLC0415 -- quick --help

        what = f'output "{folder}"' if there == folder else f'output "{folder}": "{there}"'
        kind = "may not be written to" if there.is_dir() else "is a file"
        msg = f"{what} {kind}; expected a folder that you may write to"
        raise InputError(msg)
    return folder


def print_json(value: Mapping[str, object]) -> None:
    """
    Print one JSON object.

    Parameters
    ----------
    value : mapping
        Plain, finite values.
    """
    from linesim.files.atomic import json_text  # noqa: PLC0415 -- quick --help

    # bytes, so that JSON is UTF-8 whatever the console's own encoding
    typer.echo(json_text(dict(value)).encode(), nl=False)


def leave(verdicts: "tuple[Verdict, ...]", *, strict: bool) -> None:
    """
    End with 1 where a verdict is missed or the station cannot run, if the user wants to be told.

    Parameters
    ----------
    verdicts : tuple of Verdict
        Of the run.
    strict : bool
        Whether it matters.

    Raises
    ------
    typer.Exit
        With code 1.
    """
    if strict and not all(verdict.met for verdict in verdicts):
        raise typer.Exit(1)


@contextmanager
def lent_crew(workers: int | None, address: str | None) -> "Iterator[Crew]":
    """
    Lend the workers asked for, else this process.

    Parameters
    ----------
    workers : int or None
        Processes.
    address : str or None
        Of a Dask scheduler.

    Yields
    ------
    Crew
        Who runs the tasks.

    Raises
    ------
    InputError
        Where both are asked for, or there are none to lend.
    """
    from linesim.study.crews import cluster, processes  # noqa: PLC0415 -- quick --help
    from linesim.study.tasks import Alone  # noqa: PLC0415 -- the same

    refuse_both(workers, address)
    if address is None and workers is None:
        yield Alone()
        return
    with cluster(address) if address is not None else processes(workers or 1) as crew:
        yield crew


def refuse_both(workers: int | None, address: str | None) -> None:
    """
    Refuse workers of two sorts.

    Parameters
    ----------
    workers : int or None
        Processes.
    address : str or None
        Of a Dask scheduler.

    Raises
    ------
    InputError
        Where both are asked for.
    """
    if address is not None and workers is not None:
        from linesim.setup.errors import InputError  # noqa: PLC0415 -- quick --help

        msg = "--workers: read --cluster too, which has its own workers; expected one of the two"
        raise InputError(msg)
