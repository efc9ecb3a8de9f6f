"""The page of a design: the answer, a picture, the side view, reasons, the list to buy from."""

from collections.abc import Iterator
from pathlib import Path

from linesim.figures.plain_numbers import digits
from linesim.report.first_page import first_parts
from linesim.report.judged_rows import Outcome
from linesim.report.page import write_report
from linesim.report.page_parts import Page, Part, Picture, Pictures, Section, Table, Text
from linesim.report.page_sections import Case, caution_section, facts, side_sections
from linesim.report.setup_tables import making_section, setup_section
from linesim.report.setup_words import job_in_words
from linesim.studies.design.outputs import people
from linesim.studies.design.purchase import reasons, to_buy
from linesim.studies.design.study import Design, Proposal
from linesim.studies.design.words import answer, first_limits


def design_page(found: Design, scan_png: bytes | None = None) -> Page:
    """Make the page of a design."""
    best = found.best
    verdict, *notes = answer(found)
    if best is not None:
        verdict, notes = f"{verdict} {notes[0]}", notes[1:]
    return Page(
        title=found.job.title,
        job=f"Design: {found.tried} stations judged",
        outcome=(Outcome(state="missed" if best is None else "met", text=verdict),),
        first=tuple(_first(best, notes, scan_png)),
        sections=() if best is None else tuple(_sections(found, best)),
    )


def _first(best: Proposal | None, notes: list[str], scan_png: bytes | None) -> Iterator[Part]:
    """Show what the station will see, its figures, what limits it, and other ways."""
    if scan_png is not None:
        seen = Picture(
            image=scan_png,
            alt="Discs of several sizes on even product, as the station sees them",
            caption="The smallest defect, and larger ones, on even product: what the station sees.",
        )
        yield Pictures((seen,))
    if best is not None:
        yield from first_parts(best.setup, best.budget, best.limits)
    if notes:
        yield Text(tuple(notes))


def _sections(found: Design, best: Proposal) -> Iterator[Section]:
    case = Case(title="", setup=best.setup, budget=best.budget)
    why = Table(
        title="Each choice", head=("", "value", "why"), rows=tuple(reasons(found.job, best))
    )
    yield Section("Why", (why,))
    limits = Text(tuple(first_limits(best)))
    yield Section("What limits first", (limits,))
    buy = Table(
        title="For any supplier", head=("", "how much", "what else"), rows=tuple(to_buy(best))
    )
    yield Section("To buy", (buy,))
    if found.others:
        yield Section("Other ways", (_others(found, best),))
    yield from side_sections(case)
    yield caution_section(case, people=people(found))
    words = job_in_words(best.setup)
    yield Section("The station", (Text(words), facts(best.budget)))
    yield setup_section(best.setup)
    yield making_section(best.setup, "linesim design, with the job given")


def _others(found: Design, best: Proposal) -> Table:
    rows = []
    for one in (best, *found.others):
        each = one.candidate
        rows.append(
            (
                one.name,
                f"{each.cameras} x {each.pixels}" if each.cameras > 1 else str(each.pixels),
                digits(each.object_um),
                digits(each.rate_hz / 1000),
                digits(one.light_lx / 1000),
                digits(each.cameras * float(one.budget["geometry"]["data_rate_mb_s"])),
            )
        )
    head = ("", "pixels", "object pixel, um", "line rate, kHz", "light, klx", "data, MB/s")
    return Table(title="Each meets the whole job", head=head, rows=tuple(rows))


def write_design_page(found: Design, folder: Path) -> Path:
    """Write the page beside the other files of a design, whose picture it shows."""
    path, scan_file = folder / "report.html", folder / "look.png"
    there = found.best is not None and scan_file.is_file()
    write_report(path, design_page(found, scan_file.read_bytes() if there else None))
    return path
