"""A plot of how even a line is: profile, streaks, waves along travel."""

from typing import TYPE_CHECKING

import numpy as np

from linesim.metrics.flat.streaks import BOX
from linesim.metrics.flat.uniformity import Uniformity
from linesim.report.channel_look import channel_colour, channel_style
from linesim.report.plots import INK, new_figure, png_bytes
from linesim.setup.arrays import FloatArray
from linesim.studies.measure.areas import GREY
from linesim.studies.measure.flat.uniformity import BY_CHANCE, MeasuredUniformity

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST_POINTS = 4000
_GREY = "#a8a8b0"
_HEADROOM = 1.15


def png(found: MeasuredUniformity) -> bytes:
    """Draw profile, streaks and waves, one line for each channel."""
    figure, axes = new_figure(height_mm=190.0, rows=3)
    profile, streak, wave = axes[:, 0]
    first = found.area.region.x
    for name, each in found.channels.items():
        _profile(profile, each, first, name)
        _streaks(streak, each, first, name)
        _waves(wave, each, name)
    profile.set(title="Level along the line", xlabel="column", ylabel="DN above black")
    profile.set_ylim(bottom=0)
    profile.legend(loc="lower center", ncols=3, frameon=False)
    streak.set(
        title="Columns against their neighbours", xlabel="column", ylabel="standard deviations"
    )
    wave.set(title="Waves in the means of lines", xlabel="cycles/line", ylabel="amplitude, DN")
    highest = max(each.banding.amplitude_dn.value for each in found.channels.values())
    wave.set(xlim=(0, 0.5), ylim=(0, _HEADROOM * highest if highest > 0 else 1.0))
    return png_bytes(figure)


def _profile(axes: "Axes", each: Uniformity, first: int, name: str) -> None:
    columns, is_grey = first + np.arange(each.profile.columns_dn.size), name == GREY
    axes.plot(
        columns,
        each.profile.columns_dn,
        color=_GREY if is_grey else channel_colour(name),
        alpha=1.0 if is_grey else 0.4,
        linewidth=0.7,
        label="columns" if is_grey else None,
    )
    label = "smooth" if is_grey else name
    axes.plot(columns, each.profile.smooth_dn, label=label, **channel_style(name))


def _streaks(axes: "Axes", each: Uniformity, first: int, name: str) -> None:
    found = each.streaks
    if not found.spread_dn > 0:
        return
    columns = first + BOX // 2 + np.arange(found.high_pass_dn.size)
    strength = found.high_pass_dn / found.spread_dn
    axes.plot(columns, strength, color=channel_colour(name), linewidth=0.7)
    for limit in (-found.limit, found.limit):
        axes.axhline(limit, color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
    beyond = [one for one in found.worst if abs(one.strength) > found.limit]
    for one in beyond:
        axes.annotate(str(first + one.column), (first + one.column, one.strength), fontsize=8)


def _waves(axes: "Axes", each: Uniformity, name: str) -> None:
    found = each.banding
    axes.plot(*_thinned(found.spectrum_cyc_line, found.spectrum_dn), **channel_style(name))
    if found.chance < BY_CHANCE:
        front = "" if name == GREY else f"{name}: "
        wave = f"{found.frequency_cyc_line:.5f} cycles/line, {found.amplitude_dn.value:.3g} DN"
        axes.annotate(
            front + wave,
            (found.frequency_cyc_line, found.amplitude_dn.value),
            xytext=(6, 0),
            textcoords="offset points",
            fontsize=8,
            va="center",
        )


def _thinned(frequency: FloatArray, amplitude: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Keep the highest of neighbours where there are more points than the plot can show."""
    step = -(-amplitude.size // _MOST_POINTS)
    whole = amplitude.size // step * step
    groups = amplitude[:whole].reshape(-1, step)
    at = np.arange(len(groups)) * step + np.argmax(groups, axis=1)
    return frequency[at], amplitude[at]
