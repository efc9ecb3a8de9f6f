"""Injected defects for people: a table and the ROC curve."""

from pathlib import Path

import numpy as np
from scipy.special import ndtr

from linesim.files.atomic import write_bytes
from linesim.metrics.flat.noise import Estimate
from linesim.report.plots import INK, new_figure, png_bytes, style
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup
from linesim.studies.measure.detection.study import Injection
from linesim.studies.measure.lines import plus_minus, row

_THRESHOLDS = np.linspace(9, -5, 400)


def detection_figures(found: tuple[Injection, ...]) -> dict[str, object]:
    """
    Give what was found, as JSON has it.

    Parameters
    ----------
    found : tuple of Injection
        Outputs of the search, one a channel.

    Returns
    -------
    dict
        Figures by name; of a colour camera one each a colour.
    """
    each = [_figures(one) for one in found]
    if len(each) == 1:
        return dict(each[0])
    return {name: dict(zip(COLOURS, (one[name] for one in each), strict=True)) for name in each[0]}


def _figures(found: Injection) -> dict[str, float]:
    return {
        "injections": len(found.best),
        "alarm_threshold": found.threshold,
        "detection_rate": found.found_rate,
        "detection_rate_sd": found.found_rate_sd,
        "expected_detection_rate": found.closed_rate,
        "dprime": found.dprime,
        "dprime_sd": found.dprime_sd,
        "expected_dprime": found.closed_dprime,
        "roc_area": found.roc_area,
        "roc_area_sd": found.roc_area_sd,
        "expected_roc_area": found.expected_roc_area,
        "peaks": found.peaks,
        "expected_peaks": found.closed_peaks,
    }


def detection_text(setup: Setup, found: tuple[Injection, ...]) -> str:
    """
    Lay out what was found for the console.

    Parameters
    ----------
    setup : Setup
        The station.
    found : tuple of Injection
        Outputs of the search, one a channel.

    Returns
    -------
    str
        Lines of at most 100 characters.
    """
    need = setup.requirement
    head = (
        f"search for {len(found[0].best)} discs of {need.smallest_defect_um:g} um, darker than the "
        f"product by {100 * need.defect_contrast:g} %"
    )
    lines = [head]
    names = COLOURS if len(found) > 1 else ("",)
    for name, one in zip(names, found, strict=True):
        lines += ["", name] if name else []
        lines += _channel_rows(one)
    return "\n".join(lines)


def _channel_rows(found: Injection) -> list[str]:
    seen = Estimate(value=found.dprime, sd=found.dprime_sd)
    area = Estimate(value=found.roc_area, sd=found.roc_area_sd)
    rate = f"{100 * found.found_rate:.2f} ± {100 * found.found_rate_sd:.2f} %"
    return [
        *row("found of them", f"{rate}; closed form {100 * found.closed_rate:.2f} %"),
        *row("alarm from", f"{found.threshold:.4g} sigma on, place not known"),
        *row(
            "d', place known",
            f"{plus_minus(seen)}; closed form {found.closed_dprime:.4g}",
        ),
        *row(
            "area under the ROC curve",
            f"{plus_minus(area)}; mean of Φ(d'/√2) {found.expected_roc_area:.5f}",
        ),
        *row(
            "places on the pixel grid",
            f"{len(found.each_dprime)}, d' from {found.each_dprime.min():.3g} to "
            f"{found.each_dprime.max():.3g}",
        ),
        *row(
            "peaks of noise",
            f"{found.peaks:.0f} over a lower threshold; closed form {found.closed_peaks:.0f}",
        ),
    ]


def write_roc(setup: Setup, trial: tuple[Injection, ...], path: Path) -> None:
    """
    Draw the ROC curve of the weakest channel where the place is known, and by the closed form.

    Parameters
    ----------
    setup : Setup
        The station.
    trial : tuple of Injection
        Outputs of the search, one a channel.
    path : pathlib.Path
        PNG file.

    Raises
    ------
    InputError
        Where the file cannot be written, or matplotlib is not installed.
    """
    found = min(trial, key=lambda one: one.closed_dprime)
    figure, ((axes,),) = new_figure(width_mm=120, height_mm=110)
    false, hit = found.rates(_THRESHOLDS)
    axes.plot([0, 1], [0, 1], color=INK, linewidth=0.8, linestyle=":")
    axes.plot(ndtr(-_THRESHOLDS), ndtr(found.closed_dprime - _THRESHOLDS), label="closed form",
              **style(0))  # fmt: skip
    axes.plot(false, hit, label=f"{len(found.with_defect)} injected discs", **style(1))
    axes.set(xlabel="share of false alarms", ylabel="share of defects found",
             xlim=(0, 1), ylim=(0, 1.01), title=setup.title)  # fmt: skip
    axes.legend(loc="lower right")
    write_bytes(path, png_bytes(figure))
