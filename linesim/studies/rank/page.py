"""The report of a ranking: one page with the best options, the front, and what is missed first."""

from collections.abc import Iterator, Sequence

from linesim.figures.plain_numbers import digits
from linesim.report.first_page import first_parts
from linesim.report.judged_rows import Outcome
from linesim.report.page_parts import Page, Picture, Pictures, Section, Table, Text
from linesim.report.page_sections import Case, caution_section, facts
from linesim.report.setup_tables import making_section, setup_section
from linesim.report.setup_words import job_in_words
from linesim.studies.rank.plots import rank_picture
from linesim.studies.rank.row import Row
from linesim.studies.rank.study import Ranking
from linesim.studies.rank.words import (
    REASONS,
    answer,
    chosen,
    percent,
    rank_people,
    refusals,
    short,
)

_FIGURES = (
    ("light, W/m²", "irradiance_target_w_m2"),
    ("web, m²/s", "area_rate_m2_s"),
    ("depth of field, mm", "depth_of_field_mm"),
)


def _table(title: str, rows: Sequence[Row], found: Ranking) -> Table:
    """Set options side by side: what each chooses, and what that gives."""
    several = [axis.name for axis in found.space.axes if len(axis.points) > 1]
    head = (
        "",
        *(short(name).replace("_", " ") for name in several),
        *(label for label, _ in _FIGURES),
        "brightest part of its limit",
        "SNR on the product",
        "finds from, um",
    )
    cells = tuple(
        (
            str(place),
            *(row.choice[name] for name in several),
            *(digits(row.figures[name]) for _, name in _FIGURES),
            percent(row.figures["clipping_share"]),
            digits(row.worst("snr_product")),
            _size(row, found),
        )
        for place, row in enumerate(rows, 1)
    )
    return Table(title=title, head=head, rows=cells)


def _size(row: Row, found: Ranking) -> str:
    size_um = row.largest(found.size_name)
    return "-" if size_um is None else digits(size_um)


def _missed(found: Ranking) -> Table:
    rows = tuple(
        (REASONS[name], str(count), percent(count / found.space.count))
        for name, count in found.misses.items()
    )
    return Table(
        title="The first demand that each misses, in the order in which they are judged",
        head=("", "options", "share"),
        rows=rows or (("nothing: every option passes", "", ""),),
    )


def _options(found: Ranking) -> Iterator[Table]:
    if found.distinct:
        title = "The best: each with its least light, then most web a second"
        yield _table(title, found.distinct, found)
    if found.front_rows:
        title = "Best trade-offs of light, speed and defect size"
        yield _table(title, found.front_rows, found)
    if found.nearest is not None:
        yield _table("The nearest", (found.nearest,), found)


def _first_sections(row: Row, found: Ranking) -> tuple[Section, ...]:
    """Tell of the best option, or of the nearest where none passes."""
    which = "best" if found.rows else "nearest"
    words = (f"Chosen: {chosen(row, found)}.", *job_in_words(row.setup))
    return (
        Section(f"The {which} option", (Text(words), facts(row.budget))),
        caution_section(
            Case(title="", setup=row.setup, budget=row.budget), people=rank_people(found)
        ),
        setup_section(row.setup),
        making_section(row.setup, "linesim rank --report, with the space given"),
    )


def rank_page(found: Ranking) -> Page:
    """Make the report of a ranking."""
    shape = " x ".join(str(count) for count in found.space.shape)
    plots = Picture(
        image=rank_picture(found),
        alt="The front of light, speed and size, and how many options miss which demand first",
        caption=f"{found.space.count} options, of which {len(found.order)} meet every demand and "
        f"{len(found.front)} are best trade-offs of light, speed and defect size.",
    )
    first = found.rows[0] if found.rows else found.nearest
    refused = tuple(refusals(found))
    verdict, best, *notes = (*answer(found), "")
    notes = [note for note in notes if note]
    return Page(
        title=found.space.title,
        job=f"Ranking of {found.space.count} options ({shape})",
        outcome=(
            Outcome(state="met" if found.rows else "missed", text=f"{verdict} {best}".strip()),
        ),
        first=(
            Pictures((plots,)),
            *(first_parts(first.setup, first.budget) if first else ()),
            *((Text(tuple(notes)),) if notes else ()),
        ),
        sections=(
            Section("Options", tuple(_options(found))),
            Section(
                "Why the others are out", (_missed(found), *((Text(refused),) if refused else ()))
            ),
            *(_first_sections(first, found) if first else ()),
        ),
    )
