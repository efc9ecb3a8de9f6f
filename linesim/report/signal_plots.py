"""Plots of one station: what takes sharpness away, and what adds noise."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from linesim.figures.curves import (
    Factors,
    factors_across,
    factors_along,
    noise_sources_e,
)
from linesim.forward.station import Station
from linesim.report.page_parts import Picture
from linesim.report.plots import INK, MARKS, curve_style, new_figure, svg_text
from linesim.setup.arrays import FloatArray
from linesim.setup.channels import COLOURS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WIDE_MM, _TALL_MM = 110.0, 88.0
_BEYOND = 2.0
"""Frequencies are drawn up to so many times Nyquist."""
_POINTS = 241
_NONE = 0.005
"""A factor that takes less than this anywhere is told of in words, not drawn."""
_FAINTEST_E = 0.5


def _product(factors: Mapping[str, FloatArray]) -> FloatArray:
    return np.asarray(np.prod(list(factors.values()), axis=0))


def _none_words(factors: Factors) -> str:
    none = [name for name, values in factors.items() if values.min() > 1 - _NONE]
    if not none:
        return ""
    listed = " and ".join(filter(None, (", ".join(none[:-1]), none[-1])))
    return f" {listed.capitalize()} take{'s' * (len(none) == 1)} nothing here."


def _drawn(factors: Factors) -> Factors:
    """Leave the factors that take something; those that are alike share one line."""
    found: Factors = {}
    for name, values in factors.items():
        if values.min() > 1 - _NONE:
            continue
        twin = next((each for each, seen in found.items() if np.allclose(seen, values)), None)
        if twin is None:
            found[name] = values
        else:
            found[f"{twin}, {name} (each)"] = found.pop(twin)
    return found


def _mtf_plot(
    factors: Factors, frequency_lp_mm: FloatArray, nyquist_lp_mm: float, words: tuple[str, str]
) -> Picture:
    where, at_nyquist = words
    figure, axes = new_figure(width_mm=_WIDE_MM, height_mm=_TALL_MM)
    plot = axes[0, 0]
    for name, values in _drawn(factors).items():
        plot.plot(frequency_lp_mm, values, label=name, **curve_style(name))
    plot.plot(frequency_lp_mm, _product(factors), color=INK, linewidth=2.6, label="all together")
    plot.axvline(nyquist_lp_mm, color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
    plot.annotate(
        "Nyquist", (nyquist_lp_mm, 1.0), xytext=(4, -2), textcoords="offset points", va="top"
    )
    plot.set(
        xlim=(0, frequency_lp_mm[-1]),
        ylim=(0, 1.02),
        xlabel=f"frequency {where}, on the target, lp/mm",
        ylabel="MTF",
    )
    figure.legend(loc="outside lower center", ncols=3, fontsize=8.5, frameon=False)
    return Picture(
        image=svg_text(figure),
        alt=f"MTF {where} against frequency: each factor and their product; {at_nyquist}.",
        caption=f"Sharpness {where}: {at_nyquist}.{_none_words(factors)}",
    )


def _of_green(figures: Mapping[str, Any], axis: str) -> tuple[str, float, float]:
    """Name the colour that a curve is of, where there are several, and give its figures."""
    at, half = figures[f"mtf_nyquist_{axis}"], figures[f"mtf50_{axis}_lp_mm"]
    if isinstance(at, Mapping):
        return " of green", at["green"], half["green"]
    return "", at, half


def mtf_plots(numbers: Station, figures: Mapping[str, float]) -> tuple[Picture, Picture]:
    """Plot each factor of the MTF and their product, across and along."""
    last_lp_mm = _BEYOND * max(figures["nyquist_x_lp_mm"], figures["nyquist_y_lp_mm"])
    frequency_lp_mm = np.linspace(0, last_lp_mm, _POINTS)
    found = []
    for where, axis, of in (("across", "x", factors_across), ("along", "y", factors_along)):
        nyquist_lp_mm = figures[f"nyquist_{axis}_lp_mm"]
        colour, at, half = _of_green(figures, axis)
        said = (
            f"at Nyquist, {nyquist_lp_mm:.4g} lp/mm, the MTF{colour} is "
            f"{at:.2f}; it falls to one half at {half:.4g} lp/mm"
        )
        factors = of(numbers.green, frequency_lp_mm)
        found.append(_mtf_plot(factors, frequency_lp_mm, nyquist_lp_mm, (where, said)))
    return found[0], found[1]


def _plain_numbers(plot: "Axes") -> None:
    """Write 1, 10, 100 at a logarithmic plot, for small exponents are hard to read."""
    plot.minorticks_off()
    for axis in (plot.xaxis, plot.yaxis):
        axis.set_major_formatter("{x:.0f}")


def _mark_whites(plot: "Axes", numbers: Station) -> None:
    ones = numbers.by_colour
    names = ("white",) if len(ones) == 1 else tuple(f"white, {colour}" for colour in COLOURS)
    for one, name, mark in zip(ones, names, MARKS, strict=False):
        white_e = float(one.electrons_white)
        noise_e = float(one.total_noise_e(white_e))
        plot.axvline(white_e, color=INK, linewidth=0.8, linestyle=(0, (1, 2)))
        plot.plot(
            [white_e], [noise_e], mark, label=name, color=INK, markersize=8, markerfacecolor="w"
        )


def noise_plot(numbers: Station) -> Picture:
    """Plot each source of noise against the signal, with white and the nearest limit marked."""
    figure, axes = new_figure(width_mm=_WIDE_MM, height_mm=_TALL_MM)
    _draw_noise(axes[0, 0], numbers)
    figure.legend(loc="outside lower center", ncols=3, fontsize=8.5, frameon=False)
    whose = ", of the weakest colour" if np.ndim(numbers.electrons_white) else ""
    return Picture(
        image=svg_text(figure),
        alt="Noise against signal, each source and all together, with white and the nearest "
        "limit marked.",
        caption=f"Noise of one delivered pixel against its signal, each source for itself{whose}. "
        "Shot noise is that of the light: only more electrons help against it. Fixed pattern is "
        "the same in all lines, and shows as streaks along travel.",
    )


def _draw_noise(plot: "Axes", numbers: Station) -> None:
    limit_e = float(np.min(numbers.saturation_e))
    brightest_e = float(np.max(numbers.electrons_white))
    signal_e = np.geomspace(1.0, 2 * max(limit_e, brightest_e), _POINTS)
    weakest = min(numbers.by_colour, key=lambda one: float(one.electrons_white))
    sources = noise_sources_e(weakest, signal_e)
    total_e = np.sqrt(np.sum(np.square(list(sources.values())), axis=0))
    seen = {name: noise_e for name, noise_e in sources.items() if noise_e.max() > _FAINTEST_E}
    for name, noise_e in seen.items():
        plot.loglog(signal_e, noise_e, label=name, **curve_style(name))
    plot.loglog(signal_e, total_e, color=INK, linewidth=2.6, label="all together")
    plot.loglog(signal_e, signal_e, color=INK, linewidth=0.8, label="SNR 1")
    _mark_whites(plot, numbers)
    top_e = 2 * float(total_e[-1])
    plot.axvline(limit_e, color=INK, linewidth=1.0, linestyle=(0, (6, 2)))
    plot.text(limit_e, top_e, "limit  ", rotation=90, ha="right", va="top", fontsize=9)
    plot.set(xlim=(signal_e[0], signal_e[-1]), ylim=(_FAINTEST_E, top_e))
    plot.set(xlabel="signal of a delivered pixel, e", ylabel="noise, e")
    _plain_numbers(plot)
