"""What an image of anything tells, for the console, and its plot."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from linesim.metrics.scene.block_noise import BLOCK
from linesim.metrics.scene.directional import Directional
from linesim.metrics.scene.figures import Levels, Scene
from linesim.report.plots import INK, channel_colour, channel_mark, new_figure, png_bytes, style
from linesim.studies.measure.areas import GREY
from linesim.studies.measure.lines import caution_lines, channel_lines, plus_minus
from linesim.studies.measure.scene.study import MeasuredScene

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LIMITS = (
    "noise and SNR: read off the smoothest tenth of the blocks of 16 x 16; fine texture counts as",
    "  noise, so noise is at most, SNR at least so much. Fixed columns and lines do not count.",
    "sharpness: amplitude of detail at 0.2 to 0.4 cycles/px, noise taken off. Under 1 it shows",
    "  motion blur only where the target has no direction of its own; a line exposed for its whole",
    "  period has one pixel of it by nature, some 0.9.",
)
_BINS = 256
_LONG = 2


def text(found: MeasuredScene) -> str:
    """Lay the figures of an image of anything out for the console."""

    def ratio(each: Scene) -> str:
        low, middle, high = np.percentile(each.snr_map, (10, 50, 90))
        return (
            f"at least {middle:.3g} in half of the blocks; {low:.3g} to {high:.3g} in 10 to 90 % "
            f"(above {found.black})"
        )

    rows: tuple[tuple[str, Callable[[Scene], str]], ...] = (
        ("levels", _levels),
        ("scale used", _range),
        ("noise", _noise),
        ("SNR", ratio),
        ("sharpness along/across", _sharpness),
        ("detail above noise", _detail),
    )
    lines = channel_lines("scene", (found.area,), found.channels, rows)
    notes = (f"  {line}" for line in _LIMITS)
    return "\n".join([*lines, "", *notes, *caution_lines(found.cautions)])


def _levels(each: Scene) -> str:
    low, median, high = each.levels.percentiles_dn[[1, 4, 7]]
    return f"{low:.0f} / {median:.0f} / {high:.0f} DN (1, 50, 99 % of the samples)"


def _range(each: Scene) -> str:
    found = each.levels
    return (
        f"{found.range_used:.1%} (0.1 to 99.9 %); {found.share_at_zero:.3%} of the samples at 0, "
        f"{found.share_at_full_scale:.3%} at full scale"
    )


def _noise(each: Scene) -> str:
    curve = each.noise
    low, high = (f"{curve.noise_dn[k]:.3g} DN at {curve.level_dn[k]:.4g} DN" for k in (0, -1))
    over = f"; from {low} to {high}" if curve.level_dn.size > 1 else ""
    return f"at most {each.noise_median_dn:.3g} DN at median brightness{over}"


def _sharpness(each: Scene) -> str:
    ratio, blur = each.detail.ratio, each.detail.blur_px
    if ratio is None:
        return ""
    like = "" if blur is None else f", as {plus_minus(blur)} px of motion blur would make it"
    return f"{plus_minus(ratio)}{like}"


def _detail(each: Scene) -> str:
    found = each.detail
    reach = [_reach(found.detail_x_cyc_px, found), _reach(found.detail_y_cyc_px, found)]
    return f"{reach[0]} across, {reach[1]} along"


def _reach(last_cyc_px: float, found: Directional) -> str:
    if last_cyc_px == 0:
        return f"none from {found.frequency_cyc_px[0]:.3g} cycles/px on"
    return f"up to {last_cyc_px:.2f} cycles/px"


def png(found: MeasuredScene) -> bytes:
    """Draw map, histogram, noise against brightness and detail; of colours the map of green."""
    figure, axes = new_figure(height_mm=150.0, rows=2, columns=2)
    shown = GREY if GREY in found.channels else "green"
    _map(figure, axes[0, 0], found, shown)
    for name, each in found.channels.items():
        _histogram(axes[0, 1], each.levels, name)
        _draw_noise(axes[1, 0], each, name)
        if name == shown:
            _draw_detail(axes[1, 1], each, "" if name == GREY else f"{name} ")
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


def _draw_noise(axes: "Axes", each: Scene, name: str) -> None:
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


def _draw_detail(axes: "Axes", each: Scene, front: str) -> None:
    found = each.detail
    axes.plot(found.frequency_cyc_px, found.across_dn2, label=f"{front}across", **style(0))
    axes.plot(found.frequency_cyc_px, found.along_dn2, label=f"{front}along", **style(1))
    axes.axhline(
        found.noise_dn2, color=INK, linewidth=1.0, linestyle=(0, (2, 2)), label="noise, at most"
    )
