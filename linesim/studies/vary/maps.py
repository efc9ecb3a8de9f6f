"""Maps of a study along two ranges: a row a figure, a column a binning, in greys."""

from typing import TYPE_CHECKING, Any

import numpy as np

from linesim.report.console import typeset
from linesim.report.plots import DASHES, INK, new_figure, png_bytes
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.judged import LOW_IS_GOOD
from linesim.studies.batch.ranges import short
from linesim.studies.vary.labels import ORDER, axis_words, brief_words, label
from linesim.studies.vary.plot_axes import BEHIND, along_x, plain_ticks
from linesim.studies.vary.plots import PANEL_MM, demand_of, plot_title, plotted
from linesim.studies.vary.study import Curve, Varied, judged_values, spares_of, states_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEVELS = 7
_SPAN = 5.0
_FLAT = 1e-6
_LEAST = 1e-3
_FAR = 10.0
_NEAR = 0.15
"""A level nearer to the requirement than this share is left out: its label would cover it."""
_TALL_MM = 70.0
_NOTE = "dotted: something is missed; in maps of figures lighter is better, bold is the requirement"


def maps(found: Varied) -> bytes:
    """Draw over two ranges where everything holds, and the figures that decide, a row each."""
    names = plotted(found)
    figure, axes = _rows(found, 1 + len(names))
    _joint_row(axes[0], found)
    _figure_rows(axes[1:], found, names)
    return png_bytes(figure)


def joint_map(found: Varied) -> bytes:
    """Draw over two ranges where everything holds, a panel a binning."""
    figure, axes = _rows(found, 1, "dotted: something is missed")
    _joint_row(axes[0], found)
    return png_bytes(figure)


def figure_maps(found: Varied) -> bytes:
    """Draw over two ranges the figures that decide, a row each."""
    names = plotted(found)
    figure, axes = _rows(found, len(names))
    _figure_rows(axes, found, names)
    return png_bytes(figure)


def _rows(found: Varied, rows: int, note: str = _NOTE) -> "tuple[Figure, Any]":
    """Start a figure with so many rows of maps, a column a binning."""
    figure, axes = new_figure(
        width_mm=max(PANEL_MM[0] * len(found.curves), 130.0),
        height_mm=_TALL_MM * rows + 16,
        rows=rows,
        columns=len(found.curves),
    )
    figure.suptitle(plot_title(found), fontsize=10)
    figure.supxlabel(note, fontsize=8)
    return figure, axes


def _figure_rows(axes: Any, found: Varied, names: tuple[str, ...]) -> None:  # noqa: ANN401 -- rows of axes
    for row, name in zip(axes, names, strict=True):
        levels = _levels(np.stack([_seen(found, each, name) for each in found.curves]))
        for panel, curve in zip(row, found.curves, strict=True):
            _panel(panel, found, curve, (name, levels))


def _joint_row(row: Any, found: Varied) -> None:  # noqa: ANN401 -- axes of one row
    for panel, curve in zip(row, found.curves, strict=True):
        _scaled(panel, found)
        panel.set_title(f"where everything holds: {curve.title}", fontsize=9)
        _dot_rest(panel, found, curve)
        _draw_bounds(panel, found, curve)


def _draw_bounds(axes: "Axes", found: Varied, curve: Curve) -> None:
    """Draw for each demand the line at which it is just met, with its name on it."""
    x, y = (np.array(each.values) for each in found.ranges)
    for demand, spare in spares_of(found, curve).items():
        height = np.log(np.maximum(1 + spare.T, _LEAST))
        if height.min() < 0 < height.max():
            dash = DASHES[ORDER.index(demand.requirement) % len(DASHES)]
            lines = axes.contour(
                x, y, height, levels=[0.0], colors=INK, linewidths=1.5, linestyles=[dash]
            )
            for name in axes.clabel(lines, fmt={0.0: brief_words(demand)}, fontsize=8):
                name.set_bbox(BEHIND)


def _scaled(axes: "Axes", found: Varied) -> None:
    """Divide and name both axes."""
    over, second = found.ranges
    axes.grid(visible=False)
    along_x(axes, over)
    axes.set_xlim(over.values[0], over.values[-1])
    if second.log:
        axes.set_yscale("log")
        plain_ticks(axes.yaxis)
    axes.set_ylim(second.values[0], second.values[-1])
    axes.set_ylabel(axis_words(second))


def _seen(found: Varied, curve: Curve, name: str) -> FloatArray:
    """Give a figure; where it falls to nothing as all clips, a tenth of the least elsewhere."""
    values = judged_values(found, curve, name)
    sound = values[~np.isin(states_of(found, curve), ["clips", "cannot run"])]
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


def _panel(axes: "Axes", found: Varied, curve: Curve, figure: tuple[str, FloatArray]) -> None:
    (name, levels), (over, second) = figure, found.ranges
    demand = demand_of(found, name)
    x, y = np.array(over.values), np.array(second.values)
    z = np.ma.masked_invalid(_seen(found, curve, name).T)
    scale = (
        "log" if len(levels) > 1 and levels[-1] / levels[0] > _SPAN and levels[0] > 0 else "linear"
    )
    axes.pcolormesh(x, y, z, cmap=_greys(name), norm=scale, shading="gouraud", rasterized=True)
    _scaled(axes, found)
    axes.set_title(f"{typeset(label(name))}: {curve.title}", fontsize=9)
    if np.ptp(z.compressed()) > _FLAT * np.abs(z).max():
        drawn = levels if demand is None else levels[np.abs(levels / demand.wanted - 1) > _NEAR]
        lines = axes.contour(x, y, z, levels=drawn, colors=INK, linewidths=0.7)
        axes.clabel(lines, fmt=_said, fontsize=8)
    else:
        axes.text(
            0.5, 0.5, f"{_said(float(z.mean()))} everywhere", transform=axes.transAxes, ha="center"
        )
    _limits(axes, found, curve, name)


def joint_region(found: Varied, curve: Curve) -> FloatArray:
    """Tell where everything holds."""
    spares = spares_of(found, curve).values()
    # what holds at all points draws no line, however close to its limit it is everywhere
    bounding = [np.log(np.maximum(1 + each, _LEAST)) for each in spares if each.min() < 0]
    return np.asarray(np.min(bounding, axis=0) if bounding else np.ones_like(next(iter(spares))))


def _said(value: float) -> str:
    return f"{float(f'{value:.3g}'):g}"


def _dot_rest(axes: "Axes", found: Varied, curve: Curve) -> FloatArray:
    """Dot the part in which something is missed; give by how much all is met, about zero."""
    x, y = (np.array(each.values) for each in found.ranges)
    spare = joint_region(found, curve).T
    if spare.min() < 0:
        axes.contourf(x, y, spare, levels=[-np.inf, 0.0], colors="none", hatches=["...."])
    return spare


def _draw_region(axes: "Axes", found: Varied, curve: Curve) -> None:
    """Dash the line around where everything holds, and dot the rest."""
    x, y = (np.array(each.values) for each in found.ranges)
    spare = _dot_rest(axes, found, curve)
    if spare.min() < 0 < spare.max():
        axes.contour(x, y, spare, levels=[0.0], colors=INK, linewidths=1.4, linestyles="dashed")


def _limits(axes: "Axes", found: Varied, curve: Curve, name: str) -> None:
    """Draw the requirement bold, and the part in which everything holds."""
    x, y = (np.array(each.values) for each in found.ranges)
    _draw_region(axes, found, curve)
    demand = demand_of(found, name)
    if demand is None:
        return
    values = np.ma.masked_invalid(judged_values(found, curve, name).T)
    if values.min() < demand.wanted < values.max():
        lines = axes.contour(x, y, values, levels=[demand.wanted], colors=INK, linewidths=2.8)
        axes.clabel(lines, fmt={demand.wanted: short(demand.wanted)}, fontsize=9)
