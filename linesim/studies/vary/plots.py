"""Plots of a study along one range: a panel a figure, a line a binning."""

from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from linesim.figures.demands import Demand
from linesim.report.console import typeset
from linesim.report.plots import COLOURS, FAINT, INK, MARKS, new_figure, png_bytes, style
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.judged import LIMIT, asked_of
from linesim.studies.batch.ranges import Range, short
from linesim.studies.vary.answers import Held
from linesim.studies.vary.labels import brief_words, label, value_words
from linesim.studies.vary.plot_axes import (
    Mark,
    along_x,
    along_y,
    best_line,
    crossing_marks,
    demand_line,
)
from linesim.studies.vary.rendered import Seen
from linesim.studies.vary.study import (
    Curve,
    Varied,
    best_place,
    judged_values,
    spares_of,
    states_of,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANEL_MM = (95.0, 54.0)
_LABEL = 26
"""Letters of a label that fit beside a panel."""
_FLAT = 1e-6
"""Share by which a figure must change along a range for a plot of its own."""
_MARKED = 40
"""Points of a line up to which each is marked; our choice."""
_EXPOSURES = {"same": ": same exposure time", "full": ": full exposure, each at its own line rate"}
_NOTE = "thin dots: the picture clips, or the station cannot run"


def plot_title(found: Varied) -> str:
    """Give the line above the plots of a study."""
    several = len(found.curves) > 1 and found.exposure
    return found.setup.title + (_EXPOSURES[found.exposure] if several and found.exposure else "")


def plotted(found: Varied, seen: tuple[Seen, ...] = ()) -> tuple[str, ...]:
    """Choose figures to plot: asked for, else judged, else all; one at least, none that stays."""
    usual = _judged_figures(found) if asked_of(found.judged_by) else found.shown_figures
    names = found.asked_figures or usual
    names = tuple(dict.fromkeys((*names, *(each.figure for each in seen))))
    return tuple(name for name in names if _changes(found, name)) or names[:1]


def _judged_figures(found: Varied) -> tuple[str, ...]:
    """Name the figures of what is asked, of clipping, and of what stops the station."""
    spares = [spares_of(found, curve) for curve in found.curves]
    asked = asked_of(found.judged_by)
    decisive = [
        demand.figure
        for demand in found.judged_by
        if demand in asked or demand.figure == LIMIT or any(s[demand].min() < 0 for s in spares)
    ]
    there = set.intersection(*(set(curve.figures) for curve in found.curves))
    best = [name for name in found.shown_figures if best_place(found, found.curves[0], name)]
    return tuple(name for name in dict.fromkeys((*decisive, *best)) if name in there)


def _changes(found: Varied, name: str) -> bool:
    """Tell whether a figure is another somewhere along the ranges."""
    for curve in found.curves:
        values = judged_values(found, curve, name)
        known = values[np.isfinite(values)]
        if len(known) < values.size or np.ptp(known) > _FLAT * np.abs(known).max():
            return True
    return False


def line_plots(found: Varied, seen: tuple[Seen, ...] = ()) -> bytes:
    """Draw where everything holds along one range, and the figures that decide."""
    names = plotted(found, seen)
    columns = 2
    rows = -(-(1 + len(names)) // columns)
    figure, axes = new_figure(
        width_mm=PANEL_MM[0] * columns,
        height_mm=PANEL_MM[1] * rows + 16,
        rows=rows,
        columns=columns,
    )
    every: list[Any] = list(axes.flat)
    first, *panels = every
    _draw_joint(first, found)
    for panel, name in zip(panels, names, strict=False):
        _panel(panel, found, name, tuple(each for each in seen if each.figure == name))
    for panel in panels[len(names) :]:
        panel.set_axis_off()
    _legend(figure, panels, found)
    figure.suptitle(plot_title(found), fontsize=10)
    return png_bytes(figure)


def _draw_joint(axes: "Axes", found: Varied) -> None:
    """Draw for each binning the part of the range in which everything holds, and what ends it."""
    over = found.ranges[0]
    whole = [over.shown(each) for each in (over.base_values[0], over.base_values[-1])]
    for index, curve in enumerate(found.curves):
        axes.plot(whole, [index, index], color=FAINT, linewidth=8, solid_capstyle="butt")
        for held in _held(found, curve):
            _draw_held(axes, over, held, index)
        if not _held(found, curve):
            axes.text(whole[0], index - 0.22, "nowhere", fontsize=8, va="bottom")
    along_x(axes, over)
    axes.set_yticks(range(len(found.curves)), [curve.title for curve in found.curves])
    axes.set_ylim(len(found.curves) - 0.3, -0.7)
    axes.set_title("where everything holds, and what is missed beyond", fontsize=9, loc="left")
    axes.grid(visible=False, axis="y")


def _held(found: Varied, curve: Curve) -> tuple[Held, ...]:
    return next(
        each.held
        for each in found.joints
        if (each.title, each.exposure) == (curve.title, found.exposure)
    )


def _draw_held(axes: "Axes", over: Range, held: Held, index: int) -> None:
    """Draw one part, with its ends and what is missed beyond them."""
    ends = [over.shown(held.span.low), over.shown(held.span.high)]
    colour = COLOURS[index % len(COLOURS)]
    axes.plot(ends, [index, index], color=colour, linewidth=8, solid_capstyle="butt")
    # one label above and one below, so that those of a short part do not meet
    low, high = (value_words(over, each) for each in (held.span.low, held.span.high))
    if held.below is not None:
        text = f"{low}: {brief_words(held.below)}"
        axes.text(ends[0], index - 0.12, text, fontsize=8, va="bottom", ha="left")
    if held.above is not None:
        text = f"{high}: {brief_words(held.above)}"
        axes.text(ends[1], index + 0.12, text, fontsize=8, va="top", ha="right")


def _legend(figure: "Figure", panels: list[Any], found: Varied) -> None:
    """Explain each line and mark once, below; and what the pale ones mean, where there are any."""
    marks: dict[str, Any] = {}
    for panel in panels:
        for handle, text in zip(*panel.get_legend_handles_labels(), strict=True):
            marks.setdefault(text, handle)
    figure.legend(
        list(marks.values()),
        list(marks),
        loc="outside lower center",
        ncols=3,
        fontsize=8,
        frameon=False,
        title=_NOTE if any(np.any(_fails(found, curve)) for curve in found.curves) else None,
        title_fontsize=8,
    )


def _fails(found: Varied, curve: Curve) -> Any:  # noqa: ANN401 -- an array of booleans
    return np.isin(states_of(found, curve), ["clips", "cannot run"])


def _panel(axes: "Axes", found: Varied, name: str, seen: tuple[Seen, ...]) -> None:
    over, demand = found.ranges[0], demand_of(found, name)
    for index, curve in enumerate(found.curves):
        _line(axes, found, curve, name, index)
        best = best_place(found, curve, name)
        if best is not None:
            best_line(axes, over, over.base_values[best], index)
        _points(axes, over, [each for each in seen if each.title == curve.title], index)
    wanted = [demand.wanted] if demand else []
    sound, beyond = _parted(found, name, seen)
    along_x(axes, over)
    along_y(axes, np.concatenate([sound, wanted]), beyond)
    axes.set_ylabel("\n".join(wrap(typeset(label(name)), _LABEL)))
    if demand is None:
        return
    marks = _marks(found, demand)
    middle = (
        np.sqrt(over.base_values[0] * over.base_values[-1])
        if over.log
        else np.mean([over.base_values[0], over.base_values[-1]])
    )
    on_right = not marks or min(mark.value for mark in marks) < middle
    text = "limit" if demand.figure == LIMIT else f"{short(demand.wanted)} required"
    demand_line(axes, demand.wanted, text, on_right=bool(on_right))
    crossing_marks(axes, over, demand.wanted, marks)


def _parted(found: Varied, name: str, seen: tuple[Seen, ...]) -> tuple[FloatArray, FloatArray]:
    """Part the values of a panel: those to be seen, and those that fail, which may fall away."""
    curves = [judged_values(found, each, name) for each in found.curves]
    fails = np.concatenate([_fails(found, each) for each in found.curves])
    values = np.concatenate(curves)
    clear = [each.estimate.value for each in seen if not each.clipped]
    clipped = [each.estimate.value for each in seen if each.clipped]
    if fails.all():
        return np.concatenate([values, clear]), np.array(clipped)
    return np.concatenate([values[~fails], clear]), np.concatenate([values[fails], clipped])


def demand_of(found: Varied, name: str) -> Demand | None:
    """Give the demand that a figure is judged by."""
    return next((each for each in found.judged_by if each.figure == name), None)


def _marks(found: Varied, demand: Demand) -> list[Mark]:
    """Collect where each binning crosses a requirement."""
    order = {curve.title: index for index, curve in enumerate(found.curves)}
    return [
        Mark(index=order[row.title], value=value)
        for row in found.answers
        if row.demand == demand and row.exposure == found.exposure
        for span in row.met
        for value, there in ((span.low, span.begins), (span.high, span.ends))
        if there
    ]


def _line(axes: "Axes", found: Varied, curve: Curve, name: str, index: int) -> None:
    """Draw one line; pale where the picture clips or the station cannot run."""
    x, y = np.array(found.ranges[0].values), judged_values(found, curve, name)
    full = _fails(found, curve)
    drawn: Any = style(index)
    # the pale part begins at the last point that holds, so that the line is whole
    edge = full.copy()
    edge[:-1] |= full[1:]
    edge[1:] |= full[:-1]
    pale = np.where(edge, y, np.nan)
    axes.plot(x, pale, color=drawn["color"], linewidth=1.0, linestyle=(0, (1, 2)))
    axes.plot(
        x,
        np.where(full, np.nan, y),
        marker=MARKS[index % len(MARKS)] if len(x) <= _MARKED else "",
        markersize=3,
        label=curve.title,
        **drawn,
    )


def _points(axes: "Axes", over: Range, seen: list[Seen], index: int) -> None:
    """Draw what was measured; hollow where samples clip."""
    place = index % len(COLOURS)
    for clipped in (False, True):
        chosen = [each for each in seen if each.clipped == clipped]
        if not chosen:
            continue
        axes.errorbar(
            [each.place[0] / over.ratio for each in chosen],
            [each.estimate.value for each in chosen],
            yerr=[each.estimate.sd for each in chosen],
            linestyle="none",
            marker=MARKS[place],
            markersize=5.5,
            color=COLOURS[place],
            markerfacecolor="white" if clipped else COLOURS[place],
            markeredgecolor=COLOURS[place] if clipped else INK,
            ecolor=COLOURS[place] if clipped else INK,
            elinewidth=1.1,
            capsize=2.5,
            zorder=3,
            label=f"{chosen[0].title}, rendered{', but clipped' if clipped else ''}",
        )
