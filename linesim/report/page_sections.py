"""Sections that tell of one station, ready for the page of any command."""

from collections.abc import Callable
from dataclasses import dataclass

from linesim.budget.budget import Budget
from linesim.budget.case import values
from linesim.budget.safety import CODES, MACHINERY, Shared, shared_cautions
from linesim.forward.station import station
from linesim.report.geometry_drawing import lines_on_target, rows_of_sensor
from linesim.report.light_bars import light_bars, noise_bars
from linesim.report.numerals import people_number
from linesim.report.page_parts import (
    Cautions,
    Facts,
    Part,
    Pictures,
    Section,
    Table,
    Tables,
    Text,
    Verdicts,
)
from linesim.report.rows import Row, figure_rows, judged_rows
from linesim.report.signal_plots import mtf_plots, noise_plot
from linesim.setup.setup import Setup

_ALL_MET = {1: "The requirement is met.", 2: "Both requirements are met."}


def _span(value: object, form: Callable[[float], str] = people_number) -> str:
    """Write one number, or the range of several colours."""
    each = values(value)
    low, high = (form(number) for number in (min(each), max(each)))
    return low if low == high else f"{low} to {high}"


def facts(found: Budget) -> Facts:
    """
    Choose the figures to be seen first.

    Parameters
    ----------
    found : Budget
        All figures.

    Returns
    -------
    Facts
        Of several colours the range.
    """
    place, signal, sharp = found["geometry"], found["signal"], found["resolution"]
    exposure, limit = found["exposure"], signal["saturation_limit"]
    has_light = "snr_white_db" in signal  # without any, no SNR in dB
    decibels = _span(signal["snr_white_db"], "{:.3g} dB".format) if has_light else ""
    return Facts(
        facts=(
            (
                "object pixel",
                f"{place['object_pixel_x_um']:.4g} × {place['object_pixel_y_um']:.4g} µm",
                "across × along",
            ),
            ("line rate", f"{place['line_rate_hz']:.5g} Hz", ""),
            ("exposure", f"{exposure['exposure_us']:.4g} us", f"duty {exposure['duty']:.0%}"),
            ("motion blur", f"{exposure['motion_blur_px']:.3g} px", "object pixels along"),
            ("white", f"{_span(signal['electrons_white'])} e", "in a delivered pixel"),
            ("SNR on white", _span(signal["snr_white"], "{:.3g}".format), decibels),
            (
                "saturation",
                _span(signal["saturation_white"], "{:.0%}".format),
                f"of the nearest limit ({limit})",
            ),
            (
                "MTF at Nyquist",
                f"{sharp['mtf_nyquist_x']:.2f} / {sharp['mtf_nyquist_y']:.2f}",
                "across / along",
            ),
        )
    )


def requirement_section(found: Budget) -> Section:
    """
    Tell first whether the station is good enough.

    Parameters
    ----------
    found : Budget
        With its verdicts.

    Returns
    -------
    Section
        Verdicts, and the figures to be seen first.
    """
    rows = judged_rows(found)
    missed = sum(not row.met for row in rows)
    if not rows:
        words = "The setup names no requirement, so there is no verdict."
    elif missed:
        words = f"{missed} of {len(rows)} requirements missed."
    else:
        words = _ALL_MET.get(len(rows), f"All {len(rows)} requirements are met.")
    table: tuple[Part, ...] = (Verdicts(rows=rows),) if rows else ()
    return Section(
        title="Is it good enough?", parts=(Text(paragraphs=(words,)), *table, facts(found))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """
    One of the stations that a page tells of.

    Parameters
    ----------
    title : str
        A few words that tell it from the others.
    setup : Setup
        The station.
    budget : Budget
        Its figures.
    """

    title: str
    setup: Setup
    budget: Budget


def caution_section(*stations: Case, people: tuple[Shared, ...] | None = None) -> Section:
    """
    Tell what to mind: the picture first, then people; each thing once.

    Parameters
    ----------
    *stations : Case
        One or more; where a caution does not hold for all, the titles of those stand before it.
    people : tuple of Shared, optional
        Cautions about people, where the page shows the light of more stations; left out: of these.

    Returns
    -------
    Section
        Two lists; the second always has the line about machinery.
    """
    if people is None:
        people = shared_cautions([(one.title, one.setup) for one in stations])
    holders: dict[tuple[str, str], list[str]] = {}
    for one in stations:
        for caution in one.budget.cautions:
            holders.setdefault((caution.code, caution.text), []).append(one.title)
    told = [
        (code, text if len(titles) == len(stations) else f"{', '.join(titles)}: {text}")
        for (code, text), titles in holders.items()
    ]
    picture = tuple(pair for pair in told if pair[0] not in CODES)
    light = tuple(
        (each.code, f"{each.who}: {each.text}" if each.who else each.text) for each in people
    )
    none = (("", "Nothing here calls for a caution."),)
    return Section(
        title="What to mind",
        parts=(
            Cautions(title="The picture", rows=picture or none),
            Cautions(title="Eyes, heat and machines", rows=(*light, ("", MACHINERY))),
        ),
    )


def _table(title: str, rows: tuple[Row, ...]) -> Table:
    cells = ((f"{row.label} {row.colour}".strip(), row.text) for row in rows)
    return Table(title=title, rows=tuple(cells))


def figure_section(found: Budget, measured: tuple[Row, ...] = ()) -> Section:
    """
    Show all figures by group.

    Parameters
    ----------
    found : Budget
        The closed-form figures.
    measured : tuple of Row
        What was read off an image.

    Returns
    -------
    Section
        A table a group.
    """
    tables = [_table(name, rows) for name, rows in figure_rows(found).items()]
    if measured:
        tables.append(_table("measured on the image", measured))
    return Section(title="All figures", parts=(Tables(tables=tuple(tables)),))


def geometry_section(setup: Setup) -> Section:
    """
    Draw the geometry of a station to scale.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Section
        Sensor and target.
    """
    drawings = Pictures(pictures=(rows_of_sensor(setup), lines_on_target(setup)))
    return Section(title="Geometry, to scale", parts=(drawings,))


def signal_sections(setup: Setup, found: Budget) -> tuple[Section, ...]:
    """
    Show where light and sharpness go, and where noise comes from.

    Parameters
    ----------
    setup : Setup
        The station.
    found : Budget
        Its figures.

    Returns
    -------
    tuple of Section
        Light, noise, sharpness.
    """
    numbers = station(setup)
    return (
        Section(
            title="From the lamp to the number",
            parts=light_bars(setup, found["signal"]),
        ),
        Section(
            title="Noise", parts=(noise_bars(numbers), Pictures(pictures=(noise_plot(numbers),)))
        ),
        Section(
            title="Sharpness", parts=(Pictures(pictures=mtf_plots(numbers, found["resolution"])),)
        ),
    )
