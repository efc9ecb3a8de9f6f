"""Noise and signal of even areas, for the console."""

from collections.abc import Callable

from linesim.metrics.flat.noise import Estimate
from linesim.metrics.flat.signal_noise import SignalNoise
from linesim.studies.measure.flat.noise import MeasuredNoise
from linesim.studies.measure.lines import caution_lines, channel_lines, plus_minus

_SHADED = 0.98


def text(found: MeasuredNoise) -> str:
    """Lay the figures of even areas out for the console."""
    several = len(found.areas) > 1
    how = "differences of the images" if several else "along travel, column by column"

    def level(each: SignalNoise) -> str:
        return (
            f"{plus_minus(each.lit.mean_dn)} DN, {plus_minus(each.signal_dn)} DN above black "
            f"({_black(each, found.black_from)})"
        )

    rows: tuple[tuple[str, Callable[[SignalNoise], str]], ...] = (
        ("mean", level),
        ("noise in time", lambda each: f"{_dn(each.temporal_noise_dn)} ({how})"),
        ("of it, whole lines", lambda each: _dn(each.lit.line_dn2.root())),
        ("column pattern", _pattern),
        ("SNR", lambda each: _ratio(each, "snr")),
        ("SNR with column pattern", lambda each: _ratio(each, "snr_total")),
        ("dark noise", _dark),
        ("gain from this level", _gain),
    )
    note = "  ± is one standard error of the figure: of another look at the same camera."
    lines = channel_lines("noise", found.areas, found.channels, rows)
    return "\n".join([*lines, "", note, *caution_lines(found.cautions)])


def _dn(figure: Estimate) -> str:
    return f"{plus_minus(figure)} DN"


def _black(each: SignalNoise, source: str) -> str:
    return source if source.startswith("0 DN") else f"{plus_minus(each.black_dn)} DN, {source}"


def _pattern(each: SignalNoise) -> str:
    whole, even = each.lit.column_dn2.root(), each.lit.pattern_dn2.root()
    is_shaded = even.value < _SHADED * whole.value
    parts = [_dn(whole), *([f"without the smooth trend {_dn(even)}"] if is_shaded else [])]
    if each.signal_dn.value > 0:
        share = (even if is_shaded else whole).value / each.signal_dn.value
        parts.append(f"{share:.3%} of the signal")
    return ", ".join(parts)


def _ratio(each: SignalNoise, name: str) -> str:
    figures = each.figures()
    if name not in figures:
        return ""
    return f"{plus_minus(figures[name])} ({plus_minus(figures[f'{name}_db'])} dB)"


def _dark(each: SignalNoise) -> str:
    if each.dark is None:
        return ""
    return f"{_dn(each.dark.temporal_dn2.root())}, columns {_dn(each.dark.column_dn2.root())}"


def _gain(each: SignalNoise) -> str:
    return "" if each.gain_dn_e is None else f"{plus_minus(each.gain_dn_e)} DN/e"
