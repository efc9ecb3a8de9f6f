"""The picture of a ranking: what less light costs, and what the other options miss."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from linesim.report.plots import COLOURS, INK, MARKS, new_figure, png_bytes, style, wanted_line
from linesim.setup.arrays import FloatArray
from linesim.studies.rank.study import Ranking
from linesim.studies.rank.words import REASONS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST_DOTS = 4000
_DOT = "#b4b4bc"
_MOST_SPEEDS = len(MARKS)
_WIDE = 4.0
"""Ratio from which an axis is drawn in equal ratios."""
_MM_S_OF_M_MIN = 1000 / 60


def rank_picture(found: Ranking) -> bytes:
    """Draw the front, and how many options miss each demand."""
    figure, axes = new_figure(width_mm=260.0, height_mm=115.0, columns=2)
    _draw_front(axes[0, 0], found)
    _draw_misses(axes[0, 1], found)
    return png_bytes(figure)


def _light(found: Ranking, places: NDArray[np.intp]) -> tuple[FloatArray, str]:
    """Give the light of some options as the user counts it, and its label."""
    watts = found.figures["irradiance_target_w_m2"][places]
    names = [axis.name for axis in found.space.axes]
    keys = {key for axis in found.space.axes for key in axis.keys}
    spectrum = found.space.base.light.spectrum
    if "light.illuminance" in names and not any("spectrum" in key for key in keys):
        return watts * spectrum.efficacy_lm_w / 1000, "illuminance at the target, klx"
    return watts, "irradiance at the target, W/m²"


def _draw_front(axes: "Axes", found: Ranking) -> None:
    axes.set_title("options that meet every demand", loc="left", fontsize=9)
    axes.set_xlabel(_light(found, found.order)[1])
    axes.set_ylabel("smallest defect found, µm")
    light, size_um = _light(found, found.order)[0], found.size_um[found.order]
    seen = np.isfinite(size_um)
    if not seen.any():
        axes.text(0.5, 0.5, "none", ha="center", transform=axes.transAxes)
        axes.set_axis_off()
        return
    step = int(np.ceil(seen.sum() / _MOST_DOTS))
    dots: Any = {"s": 5, "color": _DOT, "linewidths": 0, "label": f"meets all ({len(light)})"}
    axes.scatter(light[seen][::step], size_um[seen][::step], **dots)
    _draw_speeds(axes, found)
    axes.plot(light[:1], size_um[:1], "o", mfc="none", mec=INK, ms=11, label="least light")
    wanted_um = found.space.base.requirement.smallest_defect_um
    if wanted_um is not None:
        wanted_line(axes, wanted_um, f"{wanted_um:g} required")
    for values, scale in ((light[seen], axes.set_xscale), (size_um[seen], axes.set_yscale)):
        if values.min() > 0 and values.max() > _WIDE * values.min():
            scale("log")
    _plain_ticks(axes)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=3, fontsize=8, frameon=False)


def _plain_ticks(axes: "Axes") -> None:
    from matplotlib.ticker import LogLocator, StrMethodFormatter  # noqa: PLC0415 -- an extra

    for axis, scale in ((axes.xaxis, axes.get_xscale()), (axes.yaxis, axes.get_yscale())):
        axis.set_major_formatter(StrMethodFormatter("{x:g}"))
        if scale == "log":
            axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
            axis.set_minor_formatter(StrMethodFormatter(""))


def _draw_speeds(axes: "Axes", found: Ranking) -> None:
    """Draw the front of each speed as a line; of many speeds some, from slow to fast."""
    speed = found.figures["speed_mm_s"][found.front]
    several = np.unique(speed)
    chosen = np.linspace(0, len(several) - 1, min(len(several), _MOST_SPEEDS)).round()
    for place, each in enumerate(several[np.unique(chosen.astype(np.intp))]):
        here = found.front[speed == each]
        light, size_um = _light(found, here)[0], found.size_um[here]
        order = np.lexsort((size_um, light))
        sparse = max(1, len(order) // 12)
        line: Any = {**style(place), "marker": MARKS[place], "markersize": 4, "markevery": sparse}
        axes.plot(
            light[order], size_um[order], **line, label=f"best at {each / _MM_S_OF_M_MIN:.4g} m/min"
        )


def _draw_misses(axes: "Axes", found: Ranking) -> None:
    counts = {"meets every demand": len(found.order)}
    counts |= {REASONS[name]: count for name, count in found.misses.items()}
    places = np.arange(len(counts))[::-1]
    colours = [COLOURS[2], *[COLOURS[1]] * (len(counts) - 1)]
    hatches = ["", *["///"] * (len(counts) - 1)]
    bars = axes.barh(
        places, list(counts.values()), color=colours, hatch=hatches, edgecolor="white", height=0.6
    )
    axes.bar_label(bars, padding=3, fontsize=8)
    axes.set_yticks(places, ["\n".join(textwrap.wrap(label, 26)) for label in counts], fontsize=8)
    axes.set_xlim(0, 1.18 * max(counts.values()))
    axes.set_title("why the others are out: first demand missed", loc="left", fontsize=9)
    axes.set_xlabel(f"options, of {found.space.count}")
    axes.grid(visible=False, axis="y")
    axes.set_axisbelow(True)
