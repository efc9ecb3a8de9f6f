"""How even a line is, for the console."""

from collections.abc import Callable

from linesim.metrics.flat.noise import Estimate
from linesim.metrics.flat.uniformity import Uniformity
from linesim.studies.measure.flat.uniformity import BY_CHANCE, MeasuredUniformity
from linesim.studies.measure.lines import caution_lines, channel_lines, plus_minus

_LEAST = 1e-12


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
    return "\n".join(
        [
            *channel_lines("uniformity", (found.area,), found.channels, rows),
            "",
            "  worst columns: above (+) or below (-) two neighbours on each side, and the same in",
            "  standard deviations of all columns.",
            *caution_lines(found.cautions),
        ]
    )


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
