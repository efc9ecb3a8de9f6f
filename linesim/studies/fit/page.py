"""The page of a fit: what changed, what is left of each capture, what tells what."""

from collections.abc import Iterator
from pathlib import Path

from linesim.figures.budget import budget
from linesim.figures.safety import CODES
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
from linesim.report.page_sections import Case, caution_section
from linesim.report.setup_tables import making_section, setup_section
from linesim.report.setup_words import job_in_words
from linesim.studies.fit.found import Fitted
from linesim.studies.fit.plots import bound_svg, drawn_captures, intervals_svg, left_png, spread_svg
from linesim.studies.fit.words import (
    answer,
    bound,
    change_text,
    interval_text,
    left_lines,
    place_lines,
    told_by,
    value_text,
)


def fit_page(found: Fitted) -> Page:
    """Make the page of a fit."""
    return Page(
        title=found.before.title,
        job="Fitted to captures",
        lead=tuple(answer(found)),
        sections=tuple(_sections(found)),
    )


def _sections(found: Fitted) -> Iterator[Section]:
    if found.found:
        yield Section(title="What the captures tell", parts=tuple(_keys(found)))
    left = tuple(left_lines(found))
    if left:
        yield Section(title="What they do not tell", parts=(Text(paragraphs=left),))
    yield Section(title="What is left of the captures", parts=tuple(_left(found)))
    if found.correlations:
        yield Section(title="What is bound to what", parts=tuple(_bound(found)))
    own = tuple((each.code, each.text) for each in found.cautions if each.code not in CODES)
    if own:
        yield Section(title="Of this fit", parts=(Cautions(title="The fit", rows=own),))
    yield caution_section(Case(title="", setup=found.after, budget=budget(found.after)))
    yield Section(
        title="The station, as fitted", parts=(Text(paragraphs=job_in_words(found.after)),)
    )
    yield setup_section(found.after)
    yield making_section(found.before, "linesim fit setup.toml, with the captures")


def _keys(found: Fitted) -> Iterator[Part]:
    yield Table(
        title="Values with their 95 % intervals",
        head=("", "set up", "fitted", "95 %", "change", "told by"),
        rows=tuple(
            (
                each.name,
                value_text(each.before, each.interval, each.unit),
                value_text(each.interval.value, each.interval, each.unit),
                interval_text(each),
                change_text(each),
                told_by(each),
            )
            for each in found.found
        ),
    )
    if any(each.before > 0 for each in found.found):
        drawing = Picture(
            image=intervals_svg(found),
            alt="Interval of each fitted key over what the setup had",
            caption="Each interval over the setup's value; a diamond lies off it.",
        )
        yield Pictures(pictures=(drawing,))


def _left(found: Fitted) -> Iterator[Part]:
    for each in drawn_captures(found):
        yield Pictures(
            pictures=(
                Picture(
                    image=left_png(each),
                    alt="Maps of captured less expected, before and after the fit",
                    caption=f"{each.name}: captured less expected, over the noise.",
                ),
                Picture(
                    image=spread_svg(each),
                    alt="Histogram of captured less expected, before and after, beside noise alone",
                    caption="Where the fit is right, noise alone is left.",
                ),
            )
        )
    yield Text(paragraphs=tuple(place_lines(found)))


def _bound(found: Fitted) -> Iterator[Part]:
    drawing = Picture(
        image=bound_svg(found),
        alt="Correlations of the errors of all pairs of fitted keys",
        caption="Correlations of errors: near ±1 the captures tell two keys together only.",
    )
    yield Pictures(pictures=(drawing,))
    said = tuple(bound(found))
    if said:
        yield Text(paragraphs=said)


def write_fit_page(found: Fitted, folder: Path) -> Path:
    """Write the page beside the other files of a fit."""
    path = folder / "fit.html"
    write_report(path, fit_page(found))
    return path
