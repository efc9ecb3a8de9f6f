"""The figures of a slanted edge, for the console, and its plot."""

from typing import TYPE_CHECKING

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.report.console import paragraph
from linesim.report.plots import COLOURS, INK, MARKS, new_figure, png_bytes
from linesim.studies.measure.edge.study import MeasuredEdge
from linesim.studies.measure.lines import caution_lines, plus_minus, row

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_REACH = 4.0  # of the edge spread, in rises from 10 % to 90 %
_LEAST_PX = 5.0
_BAND = 2.0  # standard deviations
_NYQUIST_CYC_PX = 0.5


def text(found: MeasuredEdge) -> str:
    """Lay the figures of an edge out for the console."""
    seen, sd = found.response, found.sd
    rise = Estimate(value=seen.rise_10_90_px, sd=sd.rise_10_90_px)
    nyquist = Estimate(value=seen.mtf_nyquist, sd=sd.mtf_nyquist)
    rows = (
        ("edge", _edge(found)),
        ("levels", _levels(found)),
        ("MTF50", _crossing(found, seen.mtf50_cyc_px, sd.mtf50_cyc_px, "50 %")),
        ("MTF10", _crossing(found, seen.mtf10_cyc_px, sd.mtf10_cyc_px, "10 %")),
        ("MTF at Nyquist", f"{plus_minus(nyquist)} at 0.5 cycles/px{_nyquist_lp_mm(found)}"),
        ("rise from 10 % to 90 %", f"{plus_minus(rise)} px{_rise_um(found, rise)}"),
        ("overshoot", f"{seen.overshoot:.1%} of the step" if seen.overshoot else "none over noise"),
    )
    lines = [f"edge of {found.plane.name}", *_where(found), ""]
    lines += [line for label, text in rows for line in row(label, text)]
    return "\n".join([*lines, "", *_notes(found), *caution_lines(found.cautions)])


def _where(found: MeasuredEdge) -> list[str]:
    tried = "as given"
    if found.places:
        tried = "found, {1} of {0} places tried could be measured".format(*found.places)
    place = f"region {found.region} ({tried})"
    return paragraph(found.plane.measured(place), rest="  ")


def _edge(found: MeasuredEdge) -> str:
    seen = found.response
    return (
        f"light changes {seen.direction}, {seen.angle_deg:+.2f}° off the axis, "
        f"{seen.edge_length_px} {'lines' if seen.direction == 'across' else 'columns'} long"
    )


def _levels(found: MeasuredEdge) -> str:
    (dark, bright), unit = found.response.levels, found.plane.unit
    text = f"{dark:.5g} and {bright:.5g}{unit}"
    if not found.response.noise > 0:
        return text
    ratio = found.response.step / found.response.noise
    return f"{text}, noise {found.response.noise:.3g}{unit}, step over noise {ratio:.3g}"


def _crossing(found: MeasuredEdge, value: float | None, sd: float | None, level: str) -> str:
    if value is None:
        return f"not reached: the response stays above {level} up to the end of the curve"
    text = f"{plus_minus(Estimate(value=value, sd=sd or 0.0))} cycles/px"
    if sd is None:
        text += " (without a standard deviation: noise hides the crossing)"
    if found.pitch_um is None:
        return text
    per_mm = 1000.0 / found.pitch_um
    on_target = Estimate(value=value * per_mm, sd=(sd or 0.0) * per_mm)
    return f"{text}, {plus_minus(on_target)} lp/mm on the target"


def _nyquist_lp_mm(found: MeasuredEdge) -> str:
    return "" if found.pitch_um is None else f", {500.0 / found.pitch_um:.4g} lp/mm"


def _rise_um(found: MeasuredEdge, rise: Estimate) -> str:
    if found.pitch_um is None:
        return ""
    micrometres = Estimate(value=rise.value * found.pitch_um, sd=rise.sd * found.pitch_um)
    return f", {plus_minus(micrometres)} um on the target"


def _notes(found: MeasuredEdge) -> list[str]:
    seen, sd = found.response, found.sd
    lines = "lines" if seen.direction == "across" else "columns"
    what = (
        "Frequencies run along the edge's normal, the cosine of its angle is in them; a pixel is "
        f"the pitch {seen.direction}. Samples were {found.plane.light}. How sharp the target "
        "itself is, is in all figures."
    )
    doubt = (
        f"± is one standard deviation, from {sd.resamplings} draws of {sd.blocks} blocks of "
        f"{lines}; the sensor's pattern is in it, uneven light is not."
    )
    return [*paragraph(what, rest="  "), *paragraph(doubt, rest="  ")]


def png(found: MeasuredEdge) -> bytes:
    """Draw an edge."""
    figure, axes = new_figure(height_mm=90.0, columns=2)
    _draw_spread(axes[0, 0], found)
    _draw_response(axes[0, 1], found)
    figure.legend(loc="outside lower center", ncols=2, fontsize=8, frameon=False)
    seen = found.response
    figure.suptitle(
        f"{found.plane.name}, region {found.region}, light changes {seen.direction}, "
        f"{seen.angle_deg:+.2f}°",
        fontsize=9,
    )
    return png_bytes(figure)


def _draw_spread(axes: "Axes", found: MeasuredEdge) -> None:
    seen = found.response
    reach = min(max(_LEAST_PX, _REACH * seen.rise_10_90_px), float(seen.position_px[-1]))
    near = np.abs(seen.position_px) <= reach
    axes.plot(seen.position_px[near], seen.edge_spread[near], marker=".", color=COLOURS[0])
    axes.set_xlim(-reach, reach)
    axes.set_title("Edge spread", fontsize=9)
    axes.set_xlabel("distance along the edge's normal [px]")
    axes.set_ylabel("share of the step")


def _draw_response(axes: "Axes", found: MeasuredEdge) -> None:
    seen, sd = found.response, found.sd.mtf
    frequency = seen.frequency_cyc_px
    low, high = np.maximum(seen.mtf - _BAND * sd, 0.0), seen.mtf + _BAND * sd
    band = f"± {_BAND:g} standard deviations"
    axes.fill_between(frequency, low, high, color=COLOURS[4], alpha=0.45, linewidth=0, label=band)
    axes.plot(frequency, seen.mtf, label="response", color=COLOURS[0])
    for (value, level, name), mark in zip(
        ((seen.mtf50_cyc_px, 0.5, "MTF50"), (seen.mtf10_cyc_px, 0.1, "MTF10")), MARKS, strict=False
    ):
        if value is not None:
            label = f"{name}: {_frequency(found, value)}"
            axes.plot([value], [level], mark, color=INK, markersize=5, label=label)
    dashes = (0, (2, 2))
    label = f"Nyquist: {_frequency(found, _NYQUIST_CYC_PX)}"
    axes.axvline(_NYQUIST_CYC_PX, color=INK, linewidth=1.0, linestyle=dashes, label=label)
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, max(1.05, 1.05 * float(seen.mtf.max())))
    axes.set_title("Response", fontsize=9)
    axes.set_xlabel("frequency along the normal [cycles/px]")
    axes.set_ylabel("MTF")


def _frequency(found: MeasuredEdge, frequency_cyc_px: float) -> str:
    text, pitch_um = f"{frequency_cyc_px:.3f} cycles/px", found.pitch_um
    return (
        text
        if pitch_um is None
        else f"{text}, {1000.0 * frequency_cyc_px / pitch_um:.3g} lp/mm on the target"
    )
