"""The report of a comparison: one page with the sheet, the figures side by side, and the answer."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from linesim.figures.verdicts import State
from linesim.report.first_page import first_facts
from linesim.report.judged_rows import Outcome
from linesim.report.page import WHOLE, Wanted, write_pages
from linesim.report.page_parts import Page, Part, Picture, Pictures, Section, Table, Text
from linesim.report.page_sections import Case, caution_section, job_section, side_sections
from linesim.report.setup_tables import making_section, plain, setup_section
from linesim.report.verdict_words import closest, name_of, spare
from linesim.studies.compare.light_words import moves_lamps
from linesim.studies.compare.required import required_words
from linesim.studies.compare.sheet import compare_sheet, required_sheet
from linesim.studies.compare.study import Compared, Comparison
from linesim.studies.compare.table import ALL, figure_rows, verdict_rows
from linesim.studies.compare.words import answer
from linesim.studies.scan.before_after import png_of

_WITH_NOTE = ("brightest part", "object pixel")
"""Facts that are not told without what stands beside them."""
_MARKS = {"met": "✓", "missed": "✗", "cannot run": "■"}


def _state_and_margin(state: State, margin: str) -> str:
    return f"{_MARKS[state]} {state}{f', {margin}' if margin else ''}"


def _change_rows(found: Comparison) -> Iterator[tuple[str, list[str]]]:
    """Give the keys in which the variants differ."""
    texts = [one.scan.setup.texts for one in found.variants]
    for section, table in texts[0].items():
        keys = {key for each in texts if isinstance(table, Mapping) for key in each[section]}
        for key in sorted(keys):
            given = [plain(each[section].get(key, "-")) for each in texts]
            if len(set(given)) > 1:
                yield f"{section}.{key}", given


def _table(
    title: str, rows: Iterable[tuple[str, Sequence[str]]], found: Comparison
) -> Iterator[Table]:
    """Lay rows out; those that are the same for all variants are folded away."""
    every = tuple((label, *cells) for label, cells in rows)
    head = ("", *(one.title for one in found.variants))
    differing = tuple(row for row in every if row[0] == ALL or len(set(row[1:])) > 1)
    alike = tuple(row for row in every if row not in differing)
    if differing:
        yield Table(title=title, head=head, rows=differing)
    if alike:
        names = f"{title or 'figures'} that are the same for all ({len(alike)})"
        pairs = tuple((name, cell) for name, cell, *_ in alike)
        yield Table(title=names, rows=pairs, is_folded=True)


def _dark_words(found: Comparison) -> str:
    first, *others = found.variants
    if not any(moves_lamps(first, one) for one in others):
        return ""
    return " What is black above is judged below; a stretch lifts its noise too."


def _defects(found: Comparison) -> Picture | None:
    """Show the required defect in all variants; nothing where none is required."""
    drawn, words = required_sheet(found), required_words(found.variants[0].scan.setup)
    if drawn is None:
        return None
    return Picture(
        image=png_of(drawn),
        alt=f"The required defect, {words}, in each variant",
        caption=f"The required defect, {words}, at its size on even product, as each would deliver "
        "it; each on a grey scale about its own product.",
    )


def _first(found: Comparison, picture: Picture) -> Iterator[Part]:
    """Show a picture of all variants, their figures, and what limits each."""
    yield Pictures((picture,))
    cells = [_cells(one) for one in found.variants]
    rows = tuple((name, *(cell[name] for cell in cells)) for name in cells[0])
    yield Table(title="", head=("", *(one.title for one in found.variants)), rows=rows)


def _cells(one: Compared) -> dict[str, str]:
    """Give the figures of the first page, and what limits."""
    setup, budget = one.scan.setup, one.scan.budget
    figures = {
        name: f"{value} {note}".strip() if name in _WITH_NOTE else value
        for name, value, note in first_facts(setup, budget).facts
    }
    near = closest(one.verdicts)
    return {**figures, "limited by": f"{name_of(setup, near.requirement)}: {spare(setup, near)}"}


def compare_page(found: Comparison, *, true_proportion: bool = False) -> Page:
    """Make the report of a comparison."""
    first, titles = found.variants[0].scan, [one.title for one in found.variants]
    sheet = compare_sheet(found, true_proportion=true_proportion)
    picture = Picture(
        image=png_of(sheet),
        alt=f"The same piece of the target as {', '.join(titles)} would deliver it",
        caption="The same piece of the target in all of them: above on one grey scale, below each "
        f"stretched to its own range.{_dark_words(found)}",
    )
    defects, side_by_side = _defects(found), (Pictures((picture,)),)
    # a star is set apart from its figure
    starred = (
        (label, [cell.strip().replace("*", " ★") for cell in cells])
        for label, cells in figure_rows(found)
    )
    *gains, conclusion = answer(found)
    state: State = "met" if found.any_meets_all else "missed"
    cases = [
        Case(title=one.title, setup=one.scan.setup, budget=one.scan.budget)
        for one in found.variants
    ]
    return Page(
        title=found.title,
        job=f"Comparison of {', '.join(titles)}",
        outcome=(Outcome(state=state, text=conclusion),),
        first=tuple(_first(found, defects or picture)),
        sections=(
            Section(
                "What each gains and costs",
                (
                    Text(tuple(gains)),
                    *_table("verdicts", verdict_rows(found, _state_and_margin), found),
                    *_table("what differs in the setup", _change_rows(found), found),
                ),
            ),
            *((Section("Side by side", side_by_side),) if defects else ()),
            Section("Figures", (*_table("", starred, found), Text(("★ best of its row",)))),
            job_section(first.setup),
            *side_sections(*cases),
            caution_section(*cases),
            setup_section(first.setup),
            making_section(
                first.setup, f"linesim compare --report --seed {first.seed}, with the options given"
            ),
        ),
    )


def write_compare_report(
    found: Comparison, folder: Path, wanted: Wanted = WHOLE, *, true_proportion: bool = False
) -> tuple[Path, ...]:
    """Write the report of a comparison, its first page alone, or both, with its other files."""
    return write_pages(folder, compare_page(found, true_proportion=true_proportion), wanted)
