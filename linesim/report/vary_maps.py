"""Maps of a study along two ranges: a row a figure, a column a way of binning, in greys."""

from typing import TYPE_CHECKING, Any

import numpy as np

from linesim.budget.demands import Demand
from linesim.report.plots import INK, new_figure, png_bytes
from linesim.report.vary_axes import along_x, plain_ticks
from linesim.report.vary_labels import label
from linesim.report.vary_plots import PANEL_MM, plot_title
from linesim.setup.arrays import FloatArray
from linesim.study.ranges import short
from linesim.study.vary import Course, Varied, judged_values, spares_of, states_of
from linesim.study.wishes import LOW_IS_GOOD

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEVELS = 7
_SPAN = 5.0
_FLAT = 1e-6
_LEAST = 1e-3
_FAR = 10.0
_NEAR = 0.15
"""A level nearer to the requirement than this share is left out: its label would cover it."""
_NOTE = (
    "lighter is better; bold: the requirement; dashed: around where everything holds; "
    "dotted area: where something is missed"
)


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
        levels = _levels(np.stack([_seen(found, each, name) for each in courses]))
        for panel, course in zip(row, courses, strict=True):
            _panel(panel, found, course, (name, levels))
    figure.suptitle(plot_title(found), fontsize=10)
    figure.supxlabel(_NOTE, fontsize=8)
    return png_bytes(figure)


def _seen(found: Varied, course: Course, name: str) -> FloatArray:
    """Give a figure; where it falls to nothing as all clips, a tenth of the least elsewhere."""
    values = judged_values(found, course, name)
    sound = values[~np.isin(states_of(found, course), ["clips", "cannot run"])]
    sound = sound[np.isfinite(sound)]
    least = float(sound.min()) / _FAR if len(sound) else -np.inf
    return np.maximum(values, least) if least > 0 else values


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
    z = np.ma.masked_invalid(_seen(found, course, name).T)
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


def _wish(found: Varied, name: str) -> Demand | None:
    return next((each for each in found.wishes if each.figure == name), None)


def joint_region(found: Varied, course: Course) -> FloatArray:
    """
    Tell where everything holds.

    Parameters
    ----------
    found : Varied
        The study.
    course : Course
        One way of binning.

    Returns
    -------
    ndarray of the ranges' shape
        Logarithm of the smallest ratio by which a demand is passed; negative where one is missed.
    """
    spares = spares_of(found, course).values()
    # what holds at all points draws no line, however close to its limit it is everywhere
    bounding = [np.log(np.maximum(1 + each, _LEAST)) for each in spares if each.min() < 0]
    return np.asarray(np.min(bounding, axis=0) if bounding else np.ones_like(next(iter(spares))))


def _said(value: float) -> str:
    return f"{float(f'{value:.3g}'):g}"


def _limits(axes: "Axes", found: Varied, course: Course, name: str) -> None:
    """Draw the requirement bold, dash the line around where everything holds, dot the rest."""
    x, y = (np.array(each.values) for each in found.ranges)
    spare = joint_region(found, course).T
    if spare.min() < 0:
        axes.contourf(x, y, spare, levels=[-np.inf, 0.0], colors="none", hatches=["...."])
    if spare.min() < 0 < spare.max():
        axes.contour(x, y, spare, levels=[0.0], colors=INK, linewidths=1.4, linestyles="dashed")
    wish = _wish(found, name)
    if wish is None:
        return
    values = np.ma.masked_invalid(judged_values(found, course, name).T)
    if values.min() < wish.wanted < values.max():
        lines = axes.contour(x, y, values, levels=[wish.wanted], colors=INK, linewidths=2.8)
        axes.clabel(lines, fmt={wish.wanted: short(wish.wanted)}, fontsize=9)
