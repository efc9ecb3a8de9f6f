"""The report of a comparison: one page with the sheet, the figures side by side, and the answer."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from linesim.figures.verdicts import State
from linesim.report.judged_rows import outcome
from linesim.report.page import write_report
from linesim.report.page_parts import Page, Picture, Pictures, Section, Table, Text
from linesim.report.page_sections import Case, caution_section, side_sections
from linesim.report.setup_tables import making_section, plain, setup_section
from linesim.report.setup_words import job_in_words
from linesim.studies.compare.light_words import moves_lamps
from linesim.studies.compare.sheet import compare_sheet
from linesim.studies.compare.study import Comparison
from linesim.studies.compare.table import figure_rows, verdict_rows
from linesim.studies.compare.words import answer
from linesim.studies.scan.before_after import png_of

_MARKS = {"met": "✓", "missed": "✗", "cannot run": "■"}


def _figure_rows(found: Comparison) -> Iterator[tuple[str, ...]]:
    """Set a star apart from its figure."""
    for label, cells in figure_rows(found):
        yield label, *(cell.strip().replace("*", " ★") for cell in cells)


def _verdict_rows(found: Comparison) -> Iterator[tuple[str, ...]]:
    for label, cells in verdict_rows(found, _state_and_margin):
        yield label, *cells


def _state_and_margin(state: State, margin: str) -> str:
    return f"{_MARKS[state]} {state}{f', {margin}' if margin else ''}"


def _change_rows(found: Comparison) -> Iterator[tuple[str, ...]]:
    """Give the keys in which the variants differ."""
    texts = [one.scan.setup.texts for one in found.variants]
    for section, table in texts[0].items():
        keys = {key for each in texts if isinstance(table, Mapping) for key in each[section]}
        for key in sorted(keys):
            given = [plain(each[section].get(key, "-")) for each in texts]
            if len(set(given)) > 1:
                yield (f"{section}.{key}", *given)


def _table(title: str, rows: Iterator[tuple[str, ...]], found: Comparison) -> tuple[Table, ...]:
    cells = tuple(rows)
    head = ("", *(one.title for one in found.variants))
    return (Table(title=title, head=head, rows=cells),) if cells else ()


def _dark_words(found: Comparison) -> str:
    first, *others = found.variants
    if not any(moves_lamps(first, one) for one in others):
        return ""
    return " What is black above is judged below; a stretch lifts its noise too."


def compare_page(found: Comparison, *, true_proportion: bool = False) -> Page:
    """Make the report of a comparison."""
    first, titles = found.variants[0].scan, [one.title for one in found.variants]
    sheet = compare_sheet(found, true_proportion=true_proportion)
    picture = Picture(
        image=png_of(sheet),
        alt=f"The same piece of the target as {', '.join(titles)} would deliver it",
        caption="The same piece of the target in all of them: above on one grey scale, below each "
        f"stretched to its own range, with a small spot magnified.{_dark_words(found)}",
    )
    cases = [
        Case(title=one.title, setup=one.scan.setup, budget=one.scan.budget)
        for one in found.variants
    ]
    return Page(
        title=found.title,
        job=f"Comparison of {', '.join(titles)}",
        outcome=tuple(outcome(each.setup, each.budget, each.title) for each in cases),
        lead=job_in_words(first.setup),
        sections=(
            Section(
                title="What each gains and costs",
                parts=(
                    Text(paragraphs=answer(found)),
                    *_table("verdicts", _verdict_rows(found), found),
                    *_table("what differs in the setup", _change_rows(found), found),
                ),
            ),
            Section(title="Side by side", parts=(Pictures(pictures=(picture,)),)),
            Section(
                title="Figures",
                parts=(
                    *_table("", _figure_rows(found), found),
                    Text(paragraphs=("★ best of its row",)),
                ),
            ),
            *side_sections(*cases),
            caution_section(*cases),
            setup_section(first.setup),
            making_section(
                first.setup, f"linesim compare --report --seed {first.seed}, with the options given"
            ),
        ),
    )


def write_compare_report(found: Comparison, folder: Path, *, true_proportion: bool = False) -> Path:
    """
    Write the report of a comparison with its other files.

    Parameters
    ----------
    found : Comparison
    folder : pathlib.Path; made where it is missing
    true_proportion : bool; of the pictures

    Raises
    ------
    InputError; where it cannot be written, or jinja2 or matplotlib is not installed
    """
    path = folder / "report.html"
    write_report(path, compare_page(found, true_proportion=true_proportion))
    return path
