"""The plot of a slanted edge: how light rises over it, and the response with its band."""

from typing import TYPE_CHECKING

import numpy as np

from linesim.report.plots import COLOURS, INK, MARKS, new_figure, png_bytes
from linesim.studies.measure.edge.study import MeasuredEdge

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_REACH = 4.0  # of the edge spread, in rises from 10 % to 90 %
_LEAST_PX = 5.0
_BAND = 2.0  # standard deviations
_NYQUIST_CYC_PX = 0.5


def png(found: MeasuredEdge) -> bytes:
    """Draw an edge."""
    figure, axes = new_figure(height_mm=90.0, columns=2)
    _draw_spread(axes[0, 0], found)
    _draw_response(axes[0, 1], found)
    figure.legend(loc="outside lower center", ncols=2, fontsize=8, frameon=False)
    seen = found.response
    figure.suptitle(
        f"{found.plane.name}, region {found.region}, light changes {seen.direction}, "
        f"{seen.angle_deg:+.2f}°",
        fontsize=9,
    )
    return png_bytes(figure)


def _draw_spread(axes: "Axes", found: MeasuredEdge) -> None:
    seen = found.response
    reach = min(max(_LEAST_PX, _REACH * seen.rise_10_90_px), float(seen.position_px[-1]))
    near = np.abs(seen.position_px) <= reach
    axes.plot(seen.position_px[near], seen.edge_spread[near], marker=".", color=COLOURS[0])
    axes.set_xlim(-reach, reach)
    axes.set_title("Edge spread", fontsize=9)
    axes.set_xlabel("distance along the edge's normal [px]")
    axes.set_ylabel("share of the step")


def _draw_response(axes: "Axes", found: MeasuredEdge) -> None:
    seen, sd = found.response, found.sd.mtf
    frequency = seen.frequency_cyc_px
    low, high = np.maximum(seen.mtf - _BAND * sd, 0.0), seen.mtf + _BAND * sd
    band = f"± {_BAND:g} standard deviations"
    axes.fill_between(frequency, low, high, color=COLOURS[4], alpha=0.45, linewidth=0, label=band)
    axes.plot(frequency, seen.mtf, label="response", color=COLOURS[0])
    for (value, level, name), mark in zip(
        ((seen.mtf50_cyc_px, 0.5, "MTF50"), (seen.mtf10_cyc_px, 0.1, "MTF10")), MARKS, strict=False
    ):
        if value is not None:
            label = f"{name}: {_frequency(found, value)}"
            axes.plot([value], [level], mark, color=INK, markersize=5, label=label)
    dashes = (0, (2, 2))
    label = f"Nyquist: {_frequency(found, _NYQUIST_CYC_PX)}"
    axes.axvline(_NYQUIST_CYC_PX, color=INK, linewidth=1.0, linestyle=dashes, label=label)
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, max(1.05, 1.05 * float(seen.mtf.max())))
    axes.set_title("Response", fontsize=9)
    axes.set_xlabel("frequency along the normal [cycles/px]")
    axes.set_ylabel("MTF")


def _frequency(found: MeasuredEdge, frequency_cyc_px: float) -> str:
    text, pitch_um = f"{frequency_cyc_px:.3f} cycles/px", found.pitch_um
    return (
        text
        if pitch_um is None
        else f"{text}, {1000.0 * frequency_cyc_px / pitch_um:.3g} lp/mm on the target"
    )
