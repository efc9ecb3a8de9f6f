"""How even a line is, for the console, and its plot."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.metrics.flat.streaks import BOX
from linesim.metrics.flat.uniformity import Uniformity
from linesim.report.plots import INK, channel_colour, channel_style, new_figure, png_bytes
from linesim.setup.arrays import FloatArray
from linesim.studies.measure.areas import GREY
from linesim.studies.measure.flat.uniformity import BY_CHANCE, MeasuredUniformity
from linesim.studies.measure.lines import caution_lines, channel_lines, plus_minus

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEAST = 1e-12
_MOST_POINTS = 4000
_GREY = "#a8a8b0"
_HEADROOM = 1.15
_NOTES = (
    "  worst columns: above (+) or below (-) two neighbours on each side, and the same in",
    "  standard deviations of all columns.",
)


def text(found: MeasuredUniformity) -> str:
    """Lay the figures of a line out for the console."""
    first = found.area.region.x

    def level(each: Uniformity) -> str:
        return f"{each.whole.signal_dn.value:.5g} DN above black ({found.black})"

    def falloff(each: Uniformity) -> str:
        left, right = each.profile.falloff_left, each.profile.falloff_right
        return (
            f"{_percent(left)} lost at the left end, {_percent(right)} at the right, "
            f"brightest at column {first + each.profile.brightest}"
        )

    def worst(each: Uniformity) -> str:
        return ", ".join(
            f"{first + one.column} ({one.excess_dn:+.3g} DN, {one.strength:+.1f})"
            for one in each.streaks.worst
        )

    rows: tuple[tuple[str, Callable[[Uniformity], str]], ...] = (
        ("mean", level),
        ("fall-off", falloff),
        ("smooth profile", _profile),
        ("gain to correct it", _gain),
        ("streaks", _streaks),
        ("worst columns", worst),
        ("bands along travel", _bands),
        ("SNR along the line", _ratios),
    )
    if any(each.waves.chance < BY_CHANCE for each in found.channels.values()):
        rows = *rows[:-1], ("waves over columns", _waves), rows[-1]
    lines = channel_lines("uniformity", (found.area,), found.channels, rows)
    return "\n".join([*lines, "", *_NOTES, *caution_lines(found.cautions)])


def _percent(share: Estimate) -> str:
    return f"{100 * share.value:.2f} ± {100 * share.sd:.2f} %"


def _profile(each: Uniformity) -> str:
    found = each.profile
    return (
        f"{found.peak_to_peak:.2%} peak to peak, {found.relative_sd:.2%} standard deviation, of "
        "its mean"
    )


def _gain(each: Uniformity) -> str:
    return f"up to {each.profile.gain:.3g}, column by column up to {each.profile.gain_columns:.3g}"


def _streaks(each: Uniformity) -> str:
    streaks, signal = each.streaks, each.whole.signal_dn.value
    strength = streaks.variance_dn2.root()
    beyond = f"{streaks.count}{' or more' if streaks.count >= 100 else ''}"  # noqa: PLR2004 -- where counting ends
    return (
        f"{plus_minus(strength)} DN from column to column, {strength.value / signal:.3%} of the "
        f"signal; {beyond} beyond {streaks.limit:.1f} standard deviations"
    )


def _bands(each: Uniformity) -> str:
    found, signal = each.banding, each.whole.signal_dn.value
    share, lines = found.amplitude_dn.value / signal, 1 / found.frequency_cyc_line
    wave = (
        f"{plus_minus(found.amplitude_dn)} DN ({share:.3%} of the signal) at "
        f"{found.frequency_cyc_line:.5f} cycles/line, {lines:.4g} lines a cycle"
    )
    if found.chance < BY_CHANCE:
        return f"{wave}; probability by chance {max(found.chance, _LEAST):.0e} or less"
    return f"none that stands out; the strongest, {wave}, has a chance of {found.chance:.2g}"


def _waves(each: Uniformity) -> str:
    found, signal = each.waves, each.whole.signal_dn.value
    if found.chance >= BY_CHANCE:
        return "none that stands out"
    return (
        f"{plus_minus(found.amplitude_dn)} DN ({found.amplitude_dn.value / signal:.3%} of the "
        f"signal), {1 / found.frequency_cyc_line:.4g} columns a cycle"
    )


def _ratios(each: Uniformity) -> str:
    named = zip(("left", "middle", "right"), each.parts, strict=True)
    return ", ".join(f"{name} {plus_minus(part.snr)}" for name, part in named if part.snr)


def png(found: MeasuredUniformity) -> bytes:
    """Draw profile, streaks and waves, one line for each channel."""
    figure, axes = new_figure(height_mm=190.0, rows=3)
    profile, streak, wave = axes[:, 0]
    first = found.area.region.x
    for name, each in found.channels.items():
        _draw_profile(profile, each, first, name)
        _draw_streaks(streak, each, first, name)
        _draw_waves(wave, each, name)
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


def _draw_profile(axes: "Axes", each: Uniformity, first: int, name: str) -> None:
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


def _draw_streaks(axes: "Axes", each: Uniformity, first: int, name: str) -> None:
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


def _draw_waves(axes: "Axes", each: Uniformity, name: str) -> None:
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
