"""Maps of a study along two ranges: a row a figure, a column a way of binning, in greys."""

from typing import TYPE_CHECKING, Any

import numpy as np

from linesim.report.plots import INK, new_figure, png_bytes
from linesim.report.vary_axes import along_x, plain_ticks
from linesim.report.vary_labels import label
from linesim.report.vary_plots import PANEL_MM, plot_title
from linesim.setup.arrays import FloatArray
from linesim.study.ranges import short
from linesim.study.vary import Course, Varied
from linesim.study.wishes import LIMIT, LOW_IS_GOOD, Wish, weakest

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEVELS = 7
_SPAN = 5.0
_FLAT = 1e-6
_NEAR = 0.15
"""A level nearer to the requirement than this share is left out: its label would cover it."""
_NOTE = "lighter is better; bold: the requirement; dashed: white at its limit; dotted area: past it"


def maps(found: Varied) -> bytes:
    """
    Draw the figures over two ranges.

    Parameters
    ----------
    found : Varied
        The study.

    Returns
    -------
    bytes
        A PNG file.

    Raises
    ------
    InputError
        Where matplotlib is not installed.
    """
    names, courses = found.shown_figures, found.courses
    figure, axes = new_figure(
        width_mm=max(PANEL_MM[0] * len(courses), 130.0),
        height_mm=(PANEL_MM[1] + 12) * len(names) + 16,
        rows=len(names),
        columns=len(courses),
    )
    for row, name in zip(axes, names, strict=True):
        levels = _levels(np.stack([weakest(name, each.figures[name]) for each in courses]))
        for panel, course in zip(row, courses, strict=True):
            _panel(panel, found, course, (name, levels))
    figure.suptitle(plot_title(found), fontsize=10)
    figure.supxlabel(_NOTE, fontsize=8)
    return png_bytes(figure)


def _greys(name: str) -> Any:  # noqa: ANN401 -- matplotlib's map of colours
    """Give pale greys that leave lines and letters readable, lighter where it is better."""
    from matplotlib.colors import LinearSegmentedColormap  # noqa: PLC0415 -- an extra

    ends = ["0.62", "1.0"]
    return LinearSegmentedColormap.from_list("", ends[::-1] if name in LOW_IS_GOOD else ends)


def _levels(values: FloatArray) -> FloatArray:
    """Choose round levels, in ratios where values span much."""
    from matplotlib.ticker import LogLocator, MaxNLocator  # noqa: PLC0415 -- an extra

    values = values[np.isfinite(values)]
    if not len(values):
        return np.empty(0)
    low, high = float(values.min()), float(values.max())
    if low > 0 and high / low > _SPAN:
        ticks = LogLocator(subs=(1.0, 2.0, 5.0)).tick_values(low, high)
    else:
        ticks = MaxNLocator(_LEVELS).tick_values(low, high)
    return np.array([each for each in ticks if low < each < high])


def _panel(axes: "Axes", found: Varied, course: Course, figure: tuple[str, FloatArray]) -> None:
    (name, levels), (over, beside) = figure, found.ranges
    wish = _wish(found, name)
    x, y = np.array(over.values), np.array(beside.values)
    z = np.ma.masked_invalid(weakest(name, course.figures[name]).T)
    scale = (
        "log" if len(levels) > 1 and levels[-1] / levels[0] > _SPAN and levels[0] > 0 else "linear"
    )
    axes.pcolormesh(x, y, z, cmap=_greys(name), norm=scale, shading="gouraud", rasterized=True)
    axes.grid(visible=False)
    along_x(axes, over)
    if beside.log:
        axes.set_yscale("log")
        plain_ticks(axes.yaxis)
    axes.set_ylabel(beside.name)
    axes.set_title(f"{label(name)}: {course.title}", fontsize=9)
    if np.ptp(z.compressed()) > _FLAT * np.abs(z).max():
        drawn = levels if wish is None else levels[np.abs(levels / wish.wanted - 1) > _NEAR]
        lines = axes.contour(x, y, z, levels=drawn, colors=INK, linewidths=0.7)
        axes.clabel(lines, fmt=_said, fontsize=8)
    else:
        axes.text(
            0.5, 0.5, f"{_said(float(z.mean()))} everywhere", transform=axes.transAxes, ha="center"
        )
    _limits(axes, found, course, name)


def _wish(found: Varied, name: str) -> Wish | None:
    return next((each for each in found.wishes if each.figure == name), None)


def _said(value: float) -> str:
    return f"{float(f'{value:.3g}'):g}"


def _limits(axes: "Axes", found: Varied, course: Course, name: str) -> None:
    """Draw the requirement bold, and where white passes its limit."""
    x, y = (np.array(each.values) for each in found.ranges)
    full = weakest(LIMIT, course.figures[LIMIT]).T
    if full.max() > 1:
        axes.contourf(x, y, full, levels=[1.0, np.inf], colors="none", hatches=["...."])
    if full.min() < 1 < full.max():
        axes.contour(x, y, full, levels=[1.0], colors=INK, linewidths=1.4, linestyles="dashed")
    wish = _wish(found, name)
    values = np.ma.masked_invalid(weakest(name, course.figures[name]).T)
    if wish and values.min() < wish.wanted < values.max():
        lines = axes.contour(x, y, values, levels=[wish.wanted], colors=INK, linewidths=2.8)
        axes.clabel(lines, fmt={wish.wanted: short(wish.wanted)}, fontsize=9)
