"""Sections that tell of one station, ready for the page of any command."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from linesim.figures.budget import Budget
from linesim.figures.case import Value, values
from linesim.figures.clipping import place_of_white
from linesim.figures.plain_numbers import digits, fill_words, percent, rate, significant
from linesim.figures.safety import CODES, MACHINERY, Shared, shared_cautions
from linesim.forward.station import station
from linesim.report.geometry_drawing import lines_on_target, rows_of_sensor
from linesim.report.judged_rows import judged_rows
from linesim.report.light_bars import light_bars, noise_bars
from linesim.report.page_parts import (
    PEOPLE,
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
from linesim.report.rows import Row, figure_rows
from linesim.report.setup_words import job_in_words
from linesim.report.side_drawing import side_picture
from linesim.report.side_view import SideView, field_words, side_view_of
from linesim.report.signal_plots import mtf_plots, noise_plot
from linesim.setup.setup import Setup


def _span(value: object, form: Callable[[float], str] = significant) -> str:
    """Write one number, or the range of several colours."""
    each = values(value)
    low, high = (form(number) for number in (min(each), max(each)))
    return low if low == high else f"{low} to {high}"


def _ends(signal: Mapping[str, Value]) -> str:
    """Tell the SNR at the ends of the line, where it is another."""
    ends = signal.get("snr_product_ends", signal["snr_product"])
    return "" if ends == signal["snr_product"] else f"at the ends of the line {_span(ends, digits)}"


def facts(found: Budget) -> Facts:
    """Choose the figures to be seen first."""
    place, signal, sharp = found["geometry"], found["signal"], found["resolution"]
    exposure = found["exposure"]
    has_light = "snr_white_db" in signal  # without any, no SNR in dB
    decibels = _span(signal["snr_white_db"], "{:.3g} dB".format) if has_light else ""
    return Facts(
        (
            (
                "object pixel",
                f"{place['object_pixel_x_um']:.4g} × {place['object_pixel_y_um']:.4g} µm",
                "across × along",
            ),
            ("line rate", rate(float(place["line_rate_hz"]), 4), ""),
            (
                "exposure",
                f"{digits(exposure['exposure_us'], 4)} us",
                f"duty {percent(exposure['duty'])}",
            ),
            ("motion blur", f"{exposure['motion_blur_px']:.3g} px", "object pixels along"),
            ("white", f"{_span(signal['electrons_white'])} e", "in a delivered pixel"),
            ("SNR on white", _span(signal["snr_white"], digits), decibels),
            ("SNR on the product", _span(signal["snr_product"], digits), _ends(signal)),
            ("white needs", _span(signal["saturation_white"], fill_words), place_of_white(signal)),
            (
                "MTF at Nyquist",
                " / ".join(_span(sharp[f"mtf_nyquist_{axis}"], "{:.2f}".format) for axis in "xy"),
                "across / along",
            ),
        )
    )


def job_section(setup: Setup) -> Section:
    """Tell the job in words."""
    return Section("The job in words", (Text(job_in_words(setup)),))


def requirement_section(setup: Setup, found: Budget) -> Section:
    """Tell first whether the station is good enough."""
    parts: tuple[Part, ...] = (Verdicts(rows=judged_rows(setup, found)), facts(found))
    return Section("Is it good enough?", parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One of the stations that a page tells of."""

    title: str  # a few words that tell it from the others
    setup: Setup
    budget: Budget


def caution_section(*stations: Case, people: tuple[Shared, ...] | None = None) -> Section:
    """
    Tell what to mind: the picture first, then people; each thing once.

    Where a caution does not hold for all stations, the titles of those stand before it. `people` is
    left out where the page shows the light of these stations alone.
    """
    if people is None:
        people = shared_cautions([(one.title, one.setup) for one in stations])
    holders: dict[tuple[str, str], list[str]] = {}
    for one in stations:
        for caution in one.budget.cautions:
            holders.setdefault((caution.code, caution.text), []).append(one.title)
    pairs = [
        (code, text if len(titles) == len(stations) else f"{', '.join(titles)}: {text}")
        for (code, text), titles in holders.items()
    ]
    picture = tuple(pair for pair in pairs if pair[0] not in CODES)
    light = tuple(
        (each.code, f"{each.who}: {each.text}" if each.who else each.text) for each in people
    )
    none = (("", "Nothing here calls for a caution."),)
    return Section(
        "What to mind",
        (Cautions("The picture", picture or none), Cautions(PEOPLE, (*light, ("", MACHINERY)))),
    )


def _table(title: str, rows: tuple[Row, ...]) -> Table:
    cells = ((f"{row.label} {row.colour}".strip(), row.text) for row in rows)
    return Table(title=title, rows=tuple(cells))


def figure_section(setup: Setup, found: Budget, measured: tuple[Row, ...] = ()) -> Section:
    """Show all closed-form figures by group, and what was read off an image."""
    tables = [_table(name, rows) for name, rows in figure_rows(setup, found).items()]
    if measured:
        tables.append(_table("measured on the image", measured))
    return Section("All figures", (Tables(tables=tuple(tables)),))


def geometry_section(setup: Setup) -> Section:
    """Draw the geometry of a station to scale."""
    drawings = Pictures((rows_of_sensor(setup), lines_on_target(setup)))
    return Section("Geometry, to scale", (drawings,))


def side_sections(*stations: Case) -> tuple[Section, ...]:
    """Draw stations from the side, those alike once; none where light comes from everywhere."""
    titles: dict[SideView, list[str]] = {}
    for one in stations:
        titles.setdefault(side_view_of(one.setup), []).append(one.title)
    if not any(view.lamps for view in titles):
        return ()
    named = {view: f"{', '.join(each)}: " * (len(titles) > 1) for view, each in titles.items()}
    pictures = [(side_picture(view), name) for view, name in named.items() if view.lamps]
    drawn = Pictures(tuple(replace(each, caption=name + each.caption) for each, name in pictures))
    even = tuple(name + field_words(view) for view, name in named.items() if not view.lamps)
    parts: tuple[Part, ...] = (drawn, *((Text(even),) if even else ()))
    return (Section("Where the lamp stands", parts),)


def signal_sections(setup: Setup, found: Budget) -> tuple[Section, ...]:
    """Show where light and sharpness go, and where noise comes from."""
    numbers = station(setup)
    return (
        Section("From the lamp to the digital number", light_bars(setup, found["signal"])),
        Section("Noise", (noise_bars(numbers), Pictures((noise_plot(numbers),)))),
        Section("Sharpness", (Pictures(mtf_plots(numbers, found["resolution"])),)),
    )
