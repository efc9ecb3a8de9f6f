"""A page of plots of a measured camera: photon transfer, SNR, linearity, dark and pattern."""

from typing import TYPE_CHECKING

import numpy as np

from linesim.report.plots import COLOURS, DASHES, INK, MARKS, new_figure, png_bytes
from linesim.setup.arrays import FloatArray
from linesim.setup.shown import visible
from linesim.studies.measure.camera.measured import MeasuredCamera
from linesim.studies.measure.camera.table import spoken

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LONGEST_NAME = 60
_A4_MM = (210.0, 297.0)
_INSIDE = (0.04, 0.02, 0.92, 0.91)
"""Left, bottom, width and height of what is inside the page's margins."""
_HEAD_ROOM = 1.35
_FITTED_SHARE = 0.7


def camera_page(found: MeasuredCamera) -> bytes:
    """Draw the page, A4 upright."""
    rows = 4 if len(found.darks) > 1 else 3
    figure, axes = new_figure(width_mm=_A4_MM[0], height_mm=_A4_MM[1], rows=rows, columns=2)
    figure.set_layout_engine("constrained", w_pad=0.1, h_pad=0.1, hspace=0.02, rect=_INSIDE)
    _transfer(axes[0, 0], found)
    _snr(axes[0, 1], found)
    _response(axes[1, 0], found)
    _deviation(axes[1, 1], found)
    _columns(axes[2, 0], found.dsnu_column_e, "DSNU by column", "level less the mean [e]")
    _columns(axes[2, 1], 100 * found.prnu_column, "PRNU by column", "signal less the mean [%]")
    if rows > 3:  # noqa: PLR2004 -- the row that only several darks fill
        _dark(axes[3, 0], found, variance=False)
        _dark(axes[3, 1], found, variance=True)
    figure.text(0.06, 0.975, _title(found), fontsize=10, va="top", parse_math=False)
    return png_bytes(figure)


def _title(found: MeasuredCamera) -> str:
    figures = found.transfer.figures
    said = [f"K {spoken(figures['gain_dn_e'], 'DN/e')[0]}"]
    if found.light is not None:
        said.append(f"efficiency {spoken(figures['efficiency'].times(100.0), '%')[0]}")
    said += [
        f"dark noise {spoken(figures['dark_noise_e'], 'e')[0]}",
        f"saturation {spoken(figures['saturation_e'], 'e')[0]}",
        f"dynamic range {spoken(figures['dynamic_range_db'], 'dB')[0]}",
    ]
    name = visible(found.name)[:_LONGEST_NAME]
    return f"{name}, EMVA 1288 Release 4.0 Linear\n{', '.join(said)}"


def _light_label(found: MeasuredCamera) -> str:
    return "exposure [µs]" if found.light is None else "photons on a pixel"


def _points(axes: "Axes", x: FloatArray, y: FloatArray, sd: FloatArray, label: str) -> None:
    """Draw steps as open circles, with two standard errors where they can be seen."""
    axes.errorbar(
        x,
        y,
        yerr=2 * sd,
        label=label,
        color=COLOURS[0],
        marker=MARKS[0],
        markersize=3.5,
        markerfacecolor="none",
        markeredgewidth=0.8,
        linestyle="none",
        elinewidth=0.8,
    )


def _model(axes: "Axes", x: FloatArray, y: FloatArray, label: str) -> None:
    axes.plot(x, y, color=COLOURS[1], linestyle=DASHES[1], linewidth=1.6, label=label)


def _legend(axes: "Axes") -> None:
    axes.legend(loc="upper left", fontsize=8, framealpha=0.9)


def _transfer(axes: "Axes", found: MeasuredCamera) -> None:
    series, transfer = found.series, found.transfer
    gain, full_dn = transfer.figures["gain_dn_e"].value, transfer.figures["saturation_dn"].value
    _points(axes, series.signal_dn, series.noise_dn2, series.lit.temporal_sd_dn2, "steps")
    ends = np.array([0.0, _FITTED_SHARE * full_dn])
    _model(axes, ends, gain * ends, f"K = {gain:.4g} DN/e, fitted to 70 %")
    further = np.array([_FITTED_SHARE * full_dn, full_dn])
    axes.plot(further, gain * further, color=COLOURS[1], linewidth=0.8, linestyle=":")
    axes.axvline(full_dn, color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
    word = "brightest step" if transfer.saturation.rule == "end" else "saturation"
    axes.annotate(
        word,
        xy=(full_dn, 0.02),
        xycoords=axes.get_xaxis_transform(),
        xytext=(-3, 0),
        textcoords="offset points",
        ha="right",
        fontsize=8,
    )
    axes.set(
        title="Photon transfer",
        xlabel="signal above dark [DN]",
        ylabel="variance above dark [DN²]",
        ylim=(0, _HEAD_ROOM * float(max(series.noise_dn2.max(), gain * full_dn))),
    )
    _legend(axes)


def _snr(axes: "Axes", found: MeasuredCamera) -> None:
    series, figures = found.series, found.transfer.figures
    seen = (series.signal_dn > 0) & (series.lit.temporal_dn2 > 0)
    seen[found.transfer.saturation.step + 1 :] = False  # clipped noise makes no SNR
    snr = series.signal_dn[seen] / np.sqrt(series.lit.temporal_dn2[seen])
    _points(axes, series.light[seen], snr, np.zeros_like(snr), "steps")
    per_light, gain = figures["efficiency"].value, figures["gain_dn_e"].value
    full = float(series.light[found.transfer.saturation.step])
    light = np.geomspace(figures["threshold_light"].value, full, 200)
    dark_e = figures["dark_noise_dn"].value / gain
    signal_e = per_light * light
    _model(axes, light, signal_e / np.sqrt(signal_e + dark_e**2), "model (21)")
    shot = np.sqrt(signal_e)
    axes.plot(light, shot, color=INK, linewidth=0.9, linestyle=":", label="shot noise alone")
    axes.set(title="SNR, noise in time", xlabel=_light_label(found), ylabel="SNR")
    axes.set(xscale="log", yscale="log")
    _legend(axes)


def _response(axes: "Axes", found: MeasuredCamera) -> None:
    series, transfer = found.series, found.transfer
    slope, full = transfer.figures["responsivity_dn"].value, series.light[transfer.saturation.step]
    _points(axes, series.light, series.signal_dn, series.lit.mean_sd_dn, "steps")
    ends = np.array([0.0, full])
    _model(axes, ends, slope * ends, "R, fitted to 70 %")
    axes.locator_params(axis="x", nbins=5)
    axes.set(title="Response", xlabel=_light_label(found), ylabel="signal above dark [DN]")
    _legend(axes)


def _deviation(axes: "Axes", found: MeasuredCamera) -> None:
    line = found.linearity
    axes.set(title="Linearity, 5 to 95 %", xlabel=_light_label(found), ylabel="off the line [%]")
    axes.axhline(0, color=INK, linewidth=0.8)
    if line is None:
        axes.text(0.5, 0.6, "too few steps", ha="center", transform=axes.transAxes)
        return
    _points(
        axes,
        found.series.light[line.steps],
        100 * line.deviation,
        100 * line.deviation_sd,
        "steps, with 2 standard errors",
    )
    most = 1.6 * 100 * float(np.abs(line.deviation).max() + 2 * line.deviation_sd.max())
    axes.set_ylim(-most, most)
    axes.locator_params(axis="x", nbins=5)
    _legend(axes)


def _columns(axes: "Axes", values: FloatArray, title: str, label: str) -> None:
    axes.plot(np.arange(values.size), values, color=COLOURS[0], linewidth=0.7)
    axes.set(title=title, xlabel="column [px]", ylabel=label, xlim=(0, values.size - 1))


def _dark(axes: "Axes", found: MeasuredCamera, *, variance: bool) -> None:
    series, figures = found.series, found.transfer.figures
    time_us = series.dark_exposure_us
    seen = series.dark.temporal_dn2 if variance else series.dark.mean_dn
    sd = series.dark.temporal_sd_dn2 if variance else series.dark.mean_sd_dn
    name = f"dark_current_{'variance' if variance else 'mean'}_e_s"
    slope, offset = np.polyfit(time_us, seen, 1)
    _points(axes, time_us, seen, sd, "steps")
    ends = np.array([0.0, float(time_us.max())])
    current = spoken(figures[name], "e/s")[0]
    _model(axes, ends, offset + slope * ends, f"dark current {current}")
    axes.set(
        title=f"{'Variance' if variance else 'Mean'} in the dark",
        xlabel="exposure [µs]",
        ylabel="temporal variance [DN²]" if variance else "mean [DN]",
    )
    _legend(axes)
