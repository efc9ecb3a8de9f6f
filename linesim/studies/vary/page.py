"""The report of a study along ranges: one page with plots, table and answer."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from linesim.report.page import write_report
from linesim.report.page_parts import (
    Cautions,
    Page,
    Part,
    Picture,
    Pictures,
    Section,
    Table,
    Text,
)
from linesim.report.setup_tables import making_section, setup_section
from linesim.report.setup_words import job_in_words
from linesim.studies.batch.judged import LIMIT, weakest
from linesim.studies.vary.labels import label, number_words
from linesim.studies.vary.maps import maps
from linesim.studies.vary.plots import line_plots
from linesim.studies.vary.rendered import Seen
from linesim.studies.vary.study import Curve, Varied, states_of
from linesim.studies.vary.table import safety_texts
from linesim.studies.vary.words import answer

_MOST_ROWS = 25


def _curve_table(found: Varied, curve: Curve) -> Table:
    """Give the figures along one range, some of the points where there are many."""
    over = found.ranges[0]
    count = len(over.base_values)
    chosen = np.unique(np.rint(np.linspace(0, count - 1, min(count, _MOST_ROWS))).astype(int))
    names = dict.fromkeys((*found.shown_figures, LIMIT))
    columns = {name: weakest(name, curve.figures[name]) for name in names}
    states = states_of(found, curve)
    rows = tuple(
        (
            over.said(over.base_values[k]),
            *(
                number_words(name, column[k]) if np.isfinite(column[k]) else "-"
                for name, column in columns.items()
            ),
            str(states[k]),
        )
        for k in chosen
    )
    some = f", {len(chosen)} of {count} points" if len(chosen) < count else ""
    heads = (over.key.dotted, *map(label, columns), "verdict")
    return Table(title=f"{curve.title}{some}", head=heads, rows=rows)


def _tables(found: Varied) -> Iterator[Part]:
    if len(found.ranges) == 1:
        yield from (_curve_table(found, curve) for curve in found.curves)


def vary_page(found: Varied, seen: tuple[Seen, ...]) -> Page:
    """Make the report of a study."""
    keys = " and ".join(each.key.dotted for each in found.ranges)
    plots = Picture(
        image=line_plots(found, seen) if len(found.ranges) == 1 else maps(found),
        alt=f"Figures along {keys}, a panel each",
        caption=(
            "Dotted where the picture clips or the station cannot run."
            if len(found.ranges) == 1
            else "Dashed: around where everything holds; dotted where something is missed."
        ),
    )
    tables = tuple(_tables(found))
    figures = (Section(title="Figures", parts=tables),) if tables else ()
    cautions = tuple(("", text) for text in safety_texts(found))
    return Page(
        title=found.setup.title,
        job=f"Study along {keys}",
        lead=job_in_words(found.setup),
        sections=(
            Section(title="Where it is good enough", parts=(Text(paragraphs=answer(found)),)),
            Section(title="Plots", parts=(Pictures(pictures=(plots,)),)),
            *figures,
            Section(
                title="What to mind",
                parts=(Cautions(title="Eyes, heat and machines", rows=cautions),),
            ),
            setup_section(found.setup),
            making_section(found.setup, "linesim vary --report, with the ranges given"),
        ),
    )


def write_vary_report(found: Varied, seen: tuple[Seen, ...], folder: Path) -> Path:
    """
    Write the report of a study with its other files.

    Parameters
    ----------
    found : Varied
    seen : tuple of Seen; what was measured on rendered images
    folder : pathlib.Path; made where it is missing

    Raises
    ------
    InputError; where it cannot be written, or jinja2 or matplotlib is not installed
    """
    path = folder / "report.html"
    write_report(path, vary_page(found, seen))
    return path
