"""A plot of what an image of anything tells: SNR map, histogram, noise, detail by direction."""

from typing import TYPE_CHECKING

import numpy as np

from linesim.metrics.scene.block_noise import BLOCK
from linesim.metrics.scene.figures import Levels, Scene
from linesim.report.channel_look import channel_colour, channel_mark
from linesim.report.plots import INK, new_figure, png_bytes, style
from linesim.studies.measure.areas import GREY
from linesim.studies.measure.scene.study import MeasuredScene

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BINS = 256
_LONG = 2


def png(found: MeasuredScene) -> bytes:
    """Draw map, histogram, noise against brightness and detail; of colours the map of green."""
    figure, axes = new_figure(height_mm=150.0, rows=2, columns=2)
    shown = GREY if GREY in found.channels else "green"
    _map(figure, axes[0, 0], found, shown)
    for name, each in found.channels.items():
        _histogram(axes[0, 1], each.levels, name)
        _noise(axes[1, 0], each, name)
        if name == shown:
            _detail(axes[1, 1], each, "" if name == GREY else f"{name} ")
    axes[0, 1].set(title="Histogram", xlabel="DN", ylabel="share of the samples", yscale="log")
    axes[1, 0].set(title="Noise, at most", xlabel="brightness, DN", ylabel="noise, DN")
    axes[1, 0].set_ylim(bottom=0)
    axes[1, 1].set(
        title="Detail by direction", xlabel="cycles/px", ylabel="power, DN²", yscale="log"
    )
    axes[1, 1].legend(loc="best", frameon=False)
    if len(found.channels) > 1:
        axes[0, 1].legend(loc="best", frameon=False)
    return png_bytes(figure)


def _map(figure: "Figure", axes: "Axes", found: MeasuredScene, name: str) -> None:
    each, region = found.channels[name], found.area.region
    rows, columns = each.snr_map.shape
    left, top = region.x + 1, region.y + 1
    drawn = axes.imshow(
        each.snr_map,
        cmap="cividis",
        extent=(left, left + columns * BLOCK, top + rows * BLOCK, top),
        interpolation="nearest",
        aspect="equal" if max(rows, columns) <= _LONG * min(rows, columns) else "auto",
    )
    axes.grid(visible=False)
    front = "" if name == GREY else f" of {name}"
    axes.set(title=f"SNR{front}, at least", xlabel="column", ylabel="line")
    figure.colorbar(drawn, ax=axes)


def _histogram(axes: "Axes", levels: Levels, name: str) -> None:
    size = levels.counts.size
    step = max(1, size // _BINS)
    starts = np.arange(0, size, step)
    shares = np.add.reduceat(levels.counts, starts) / levels.counts.sum()
    edges = np.append(starts, starts[-1] + step)
    axes.stairs(np.where(shares > 0, shares, np.nan), edges, label=name, color=channel_colour(name))


def _noise(axes: "Axes", each: Scene, name: str) -> None:
    found = each.noise
    axes.errorbar(
        found.level_dn,
        found.noise_dn,
        yerr=found.noise_sd_dn,
        color=channel_colour(name),
        marker=channel_mark(name),
        markersize=4,
        linewidth=1.0,
    )


def _detail(axes: "Axes", each: Scene, front: str) -> None:
    found = each.detail
    axes.plot(found.frequency_cyc_px, found.across_dn2, label=f"{front}across", **style(0))
    axes.plot(found.frequency_cyc_px, found.along_dn2, label=f"{front}along", **style(1))
    axes.axhline(
        found.noise_dn2, color=INK, linewidth=1.0, linestyle=(0, (2, 2)), label="noise, at most"
    )
