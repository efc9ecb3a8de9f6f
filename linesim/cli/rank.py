"""``linesim rank``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.options import Json, OnePage, Out, Report, chosen_folder, leave, show
from linesim.cli.progress import progress
from linesim.report.page import Wanted, write_pages
from linesim.studies.rank.outputs import rank_json, write_ranking
from linesim.studies.rank.page import rank_page
from linesim.studies.rank.space import load_space
from linesim.studies.rank.study import rank as rank_of
from linesim.studies.rank.table import rank_text

SpacePath = Annotated[
    Path, typer.Argument(metavar="SPACE", help="File with [options], [requirement], [limits].")
]
Top = Annotated[
    int, typer.Option(min=1, max=1000, help="How many of the best, and of trade-offs, are shown.")
]
NoneMeets = Annotated[
    bool, typer.Option("--strict", help="Exit with 1 where no option meets every demand.")
]


def rank(  # noqa: PLR0913 -- one option a parameter
    space: SpacePath,
    *,
    top: Top = 10,
    out: Out = None,
    json: Json = False,
    strict: NoneMeets = False,
    report: Report = False,
    one_page: OnePage = False,
) -> None:
    """Judge every option of a space of set-ups in closed form; the best of them remain."""
    chosen, folder = load_space(space), chosen_folder(out, space)
    with progress("judging") as update:
        found = rank_of(chosen, top, update)
    written = write_ranking(found, folder)
    pages = Wanted(report=report, one_page=one_page)
    written += write_pages(folder, rank_page(found), pages) if pages else ()
    show(found, rank_json, rank_text, written, json=json)
    leave(met=bool(found.rows), strict=strict)
