"""Axes, scales and marks that the plots of a study along ranges share."""

from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import numpy as np

from linesim.report.plots import COLOURS, INK, MARKS
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.ranges import Range
from linesim.studies.vary.labels import axis_words, value_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_DECADE = 5.0
"""Largest over smallest value from which an axis is divided by ratios; our choice."""
_ROOM = 1.6
_FAR = 10.0
"""Clipped points further from the curves than this factor are left out of view; our choice."""
_WIDE = 150.0
"""Ends of a scale of ratios this far apart need no ticks between the powers of ten; our choice."""
_LEFT = 0.18
"""Share of a plot's width in which no label finds room to the left."""
BEHIND: Any = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.6}
"""Of a label that stands on lines or dots."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A place on a requirement's line."""

    index: int
    value: float


def plain_ticks(axis: Any) -> None:  # noqa: ANN401 -- matplotlib's axes have many types
    """Write the ticks of a scale of ratios as plain numbers."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter  # noqa: PLC0415 -- an extra

    low, high = axis.get_view_interval()
    axis.set_major_locator(LogLocator(subs=(1.0,) if high / low > _WIDE else (1.0, 2.0, 5.0)))
    axis.set_major_formatter(FuncFormatter(_tick))
    axis.set_minor_formatter(NullFormatter())


def _tick(value: float, _place: object) -> str:
    return f"{value:g}" if value < 1e4 else f"{value / 1000:g} k"  # noqa: PLR2004 -- room of a tick


def along_x(axes: "Axes", over: Range) -> None:
    """Divide and name the axis of a range."""
    if over.log:
        axes.set_xscale("log")
        plain_ticks(axes.xaxis)
    axes.set_xlabel(axis_words(over))


def along_y(axes: "Axes", values: FloatArray, clipped: FloatArray) -> None:
    """Divide the axis of a figure, by ratios where its values span much."""
    values = values[np.isfinite(values)]
    if not len(values):
        return
    low, high = float(values.min()), float(values.max())
    near = clipped[(clipped > low / _FAR) & (clipped < high * _FAR)]
    low, high = min([low, *near]), max([high, *near])
    if low > 0 and high / low > _DECADE:
        axes.set_yscale("log")
        axes.set_ylim(low / _ROOM, high * _ROOM)
        plain_ticks(axes.yaxis)
    elif low >= 0:
        axes.set_ylim(0, _ROOM**0.5 * high or 1.0)


def demand_line(axes: "Axes", wanted: float, text: str, *, on_right: bool) -> None:
    """Draw a requirement across a plot, its name where the curves are not."""
    axes.axhline(wanted, color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
    axes.annotate(
        text,
        xy=(1 if on_right else 0, wanted),
        xycoords=axes.get_yaxis_transform(),
        xytext=(-3 if on_right else 4, 4),
        textcoords="offset points",
        ha="right" if on_right else "left",
        fontsize=8,
        bbox=BEHIND,
    )


def best_line(axes: "Axes", over: Range, value: float, index: int) -> None:
    """Draw where along the range a figure is best, its value below the axis's top."""
    axes.axvline(value / over.ratio, color=COLOURS[index % len(COLOURS)], linewidth=0.8)
    axes.annotate(
        f"best at {over.said(value)}",
        xy=(value / over.ratio, 1),
        xycoords=axes.get_xaxis_transform(),
        xytext=(4, -10 - 11 * index),
        textcoords="offset points",
        fontsize=8,
        bbox=BEHIND,
        zorder=5,
    )


def crossing_marks(axes: "Axes", over: Range, wanted: float, marks: list[Mark]) -> None:
    """Mark where curves cross a requirement, with the value there."""
    for place, mark in enumerate(sorted(marks, key=attrgetter("value"))):
        x, kind = mark.value / over.ratio, mark.index % len(COLOURS)
        axes.plot(
            [x],
            [wanted],
            marker=MARKS[kind],
            markersize=7,
            color=COLOURS[kind],
            markeredgecolor=INK,
            zorder=4,
        )
        # the leftmost to the left, the others to the right, one below the other
        first = place == 0 and len(marks) > 1
        left = (
            first
            and axes.transAxes.inverted().transform(axes.transData.transform((x, wanted)))[0]
            > _LEFT
        )
        axes.annotate(
            value_words(over, mark.value),
            (x, wanted),
            xytext=(-6 if left else 6, 9 if first and not left else -13 - 11 * max(0, place - 1)),
            textcoords="offset points",
            ha="right" if left else "left",
            fontsize=8,
            bbox=BEHIND,
            zorder=5,
        )
