"""The report of a study along ranges: one page with plots, table and answer."""

from collections.abc import Iterator

from linesim.report.page_parts import (
    PEOPLE,
    Cautions,
    Page,
    Part,
    Picture,
    Pictures,
    Section,
    Table,
    Text,
)
from linesim.report.page_sections import job_section
from linesim.report.setup_tables import making_section, setup_section
from linesim.studies.batch.judged import LIMIT
from linesim.studies.batch.ranges import evenly
from linesim.studies.vary.joint_words import limits_words, outcomes
from linesim.studies.vary.labels import axis_words, label, missed_words, value_words
from linesim.studies.vary.maps import figure_maps, joint_map
from linesim.studies.vary.plots import line_plots
from linesim.studies.vary.rendered import Seen
from linesim.studies.vary.study import Curve, Varied
from linesim.studies.vary.table import curve_rows, joint_rows, safety_texts
from linesim.studies.vary.words import answer

_FIRST_ROWS = 5


def _curve_table(found: Varied, curve: Curve) -> Table:
    """Give the figures along one range, some of the points where there are many."""
    over, names = found.ranges[0], dict.fromkeys((*found.shown_figures, LIMIT))
    rows, count = curve_rows(found, curve, names), len(over.base_values)
    some = f", {len(rows)} of {count} points" if len(rows) < count else ""
    heads = (over.key.dotted, *map(label, names), "verdict")
    return Table(title=f"{curve.title}{some}", head=heads, rows=tuple(rows))


def _first(found: Varied, seen: tuple[Seen, ...]) -> Iterator[Part]:
    """Show where everything holds, as a picture and as a table, and what ends it."""
    grid = len(found.ranges) > 1
    alone = Picture(
        image=joint_map(found) if grid else line_plots(found, seen),
        alt="Where everything holds along " + " and ".join(axis_words(r) for r in found.ranges),
        caption="Along each line a requirement is just met; dotted where one is missed."
        if grid
        else "Above left, where everything holds; then the figures that decide, dotted where the "
        "picture clips or the station cannot run.",
    )
    yield Pictures((alone,))
    yield _grid_table(found) if grid else _span_table(found)
    limits = limits_words(found)
    if limits:
        yield Text((limits,))


def _span_table(found: Varied) -> Table:
    """Give the ends of the parts in which everything holds, and what is missed beyond."""
    over = found.ranges[0]
    rows = [
        (
            joint.title,
            value_words(over, held.span.low),
            value_words(over, held.span.high),
            missed_words(held.below) if held.below else "the range begins there",
            missed_words(held.above) if held.above else "the range ends there",
        )
        for joint in found.joints
        if joint.exposure == found.exposure
        for held in joint.held
    ]
    head = ("", "everything holds from", "to", "below", "above")
    nothing = ("nowhere in this range", "-", "-", "-", "-")
    return Table(title="", head=head, rows=tuple(rows) or (nothing,))


def _grid_table(found: Varied) -> Table:
    """Give where everything holds along the first range, at some values of the second."""
    rows = tuple(evenly(joint_rows(found), _FIRST_ROWS))
    head = ("everything holds", *(curve.title for curve in found.curves))
    return Table(title="", head=head, rows=rows)


def _each(found: Varied, said: tuple[str, ...]) -> tuple[Part, ...]:
    """Tell of each requirement by itself; of two ranges with its map."""
    words = Text(said)
    if len(found.ranges) == 1:
        return (words,)
    plots = Picture(
        image=figure_maps(found),
        alt="Maps of the figures that decide, a row each",
        caption="Lighter is better; bold is the requirement; dotted where something is missed.",
    )
    return words, Pictures((plots,))


def vary_page(found: Varied, seen: tuple[Seen, ...]) -> Page:
    """Make the report of a study."""
    keys = " and ".join(axis_words(each) for each in found.ranges)
    said = outcomes(found)
    rest = tuple(text for text in answer(found) if text not in [each.text for each in said])
    tables = [_curve_table(found, curve) for curve in found.curves if len(found.ranges) == 1]
    figures = (Section("Figures", tuple(tables)),) if tables else ()
    cautions = tuple(("", text) for text in safety_texts(found))
    return Page(
        title=found.setup.title,
        job=f"Study along {keys}",
        outcome=said,
        first=tuple(_first(found, seen)),
        sections=(
            *((Section("Each requirement", _each(found, rest)),) if rest else ()),
            *figures,
            job_section(found.setup),
            Section("What to mind", (Cautions(PEOPLE, cautions),)),
            setup_section(found.setup),
            making_section(found.setup, "linesim vary --report, with the ranges given"),
        ),
    )
