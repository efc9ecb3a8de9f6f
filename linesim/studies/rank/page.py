"""The report of a ranking: one page with the best options, the front, and what is missed first."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from linesim.figures.plain_numbers import people_number
from linesim.report.page import write_report
from linesim.report.page_parts import Page, Picture, Pictures, Section, Table, Text
from linesim.report.page_sections import Case, caution_section, facts
from linesim.report.setup_tables import making_section, setup_section
from linesim.report.setup_words import job_in_words
from linesim.studies.rank.people import rank_people
from linesim.studies.rank.plots import rank_picture
from linesim.studies.rank.row import Row
from linesim.studies.rank.study import Ranking
from linesim.studies.rank.words import REASONS, answer, chosen, percent, refusals, short

_FIGURES = (
    ("light, W/m²", "irradiance_target_w_m2"),
    ("web, m²/s", "area_rate_m2_s"),
    ("brightest part over limit", "clipping_share"),
    ("depth of field, mm", "depth_of_field_mm"),
)


def _table(title: str, rows: Sequence[Row], found: Ranking) -> Table:
    """Set options side by side: what each chooses, and what that gives."""
    several = [axis.name for axis in found.space.axes if len(axis.points) > 1]
    head = (
        "",
        *(short(name).replace("_", " ") for name in several),
        *(label for label, _ in _FIGURES),
        "SNR on the product",
        "finds from, um",
    )
    cells = tuple(
        (
            str(place),
            *(row.choice[name] for name in several),
            *(people_number(row.figures[name]) for _, name in _FIGURES),
            people_number(row.worst("snr_product")),
            _size(row, found),
        )
        for place, row in enumerate(rows, 1)
    )
    return Table(title=title, head=head, rows=cells)


def _size(row: Row, found: Ranking) -> str:
    size_um = row.largest(found.size_name)
    return "-" if size_um is None else people_number(size_um)


def _missed(found: Ranking) -> Table:
    rows = tuple(
        (REASONS[name], str(count), percent(count / found.space.count))
        for name, count in found.misses.items()
    )
    return Table(
        title="Missed first, in the order in which it is judged",
        head=("", "options", "share"),
        rows=rows or (("nothing: every option passes", "", ""),),
    )


def _options(found: Ranking) -> Iterator[Table]:
    if found.rows:
        yield _table("The best: least light first, then most web a second", found.rows, found)
    if found.front_rows:
        title = "The front: what has less light is slower or finds coarser defects only"
        yield _table(title, found.front_rows, found)
    if found.nearest is not None:
        yield _table("The nearest", (found.nearest,), found)


def _first_sections(row: Row, found: Ranking) -> tuple[Section, ...]:
    """Tell of the best option, or of the nearest where none passes."""
    which = "best" if found.rows else "nearest"
    words = (f"Chosen: {chosen(row, found)}.", *job_in_words(row.setup))
    return (
        Section(title=f"The {which} option", parts=(Text(paragraphs=words), facts(row.budget))),
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
        f"{len(found.front)} are on the front.",
    )
    first = found.rows[0] if found.rows else found.nearest
    refused = tuple(refusals(found))
    return Page(
        title=found.space.title,
        job=f"Ranking of {found.space.count} options ({shape})",
        lead=answer(found),
        sections=(
            Section(title="Options", parts=tuple(_options(found))),
            Section(
                title="All of them",
                parts=(
                    Pictures(pictures=(plots,)),
                    _missed(found),
                    *((Text(paragraphs=refused),) if refused else ()),
                ),
            ),
            *(_first_sections(first, found) if first else ()),
        ),
    )


def write_rank_report(found: Ranking, folder: Path) -> Path:
    """
    Write the report of a ranking with its other files.

    Parameters
    ----------
    found : Ranking; all options, judged
    folder : pathlib.Path; made where it is missing

    Raises
    ------
    InputError; where it cannot be written, or jinja2 or matplotlib is not installed
    """
    path = folder / "report.html"
    write_report(path, rank_page(found))
    return path
