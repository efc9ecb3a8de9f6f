"""Injected defects for people: a table and the ROC curve."""

from pathlib import Path

import numpy as np

from linesim.files.atomic import write_bytes
from linesim.metrics.noise import Estimate
from linesim.report.measured_lines import plus_minus, row
from linesim.report.plots import INK, new_figure, png_bytes, style
from linesim.setup.setup import Setup
from linesim.study.injection import Injection

_FAINT = 0.1
_ONE_NOISE = (
    "the closed form gives the defect the noise of white; a dark one of this contrast has less and "
    "stands out more"
)
_THRESHOLDS = np.linspace(9, -5, 400)


def detection_figures(found: Injection) -> dict[str, float]:
    """
    Give what was found, as JSON has it.

    Parameters
    ----------
    found : Injection
        Outputs of the filter.

    Returns
    -------
    dict
        Figures by name.
    """
    return {
        "injections": len(found.with_defect),
        "dprime": found.dprime,
        "dprime_sd": found.dprime_sd,
        "expected_dprime": found.closed_dprime,
        "roc_area": found.roc_area,
        "roc_area_sd": found.roc_area_sd,
        "expected_roc_area": found.expected_roc_area,
    }


def detection_text(setup: Setup, found: Injection) -> str:
    """
    Lay out what was found for the console.

    Parameters
    ----------
    setup : Setup
        The station.
    found : Injection
        Outputs of the filter.

    Returns
    -------
    str
        Lines of at most 100 characters.
    """
    need = setup.requirement
    seen = Estimate(value=found.dprime, sd=found.dprime_sd)
    area = Estimate(value=found.roc_area, sd=found.roc_area_sd)
    head = (
        f"matched filter on {len(found.with_defect)} discs of {need.smallest_defect_um:g} um, "
        f"contrast {need.defect_contrast:g}"
    )
    strong = need.defect_contrast > _FAINT
    off = (found.dprime - found.closed_dprime) / found.dprime_sd
    return "\n".join(
        [
            head,
            *row("d' measured", f"{plus_minus(seen)}; closed form {found.closed_dprime:.4g}"),
            *row("difference", f"{found.dprime / found.closed_dprime - 1:+.1%}, {off:+.1f} sigma"),
            *row(
                "area under the ROC curve",
                f"{plus_minus(area)}; mean of Φ(d'/√2) {found.expected_roc_area:.5f}",
            ),
            *row(
                "places on the pixel grid",
                f"{len(found.each_dprime)}, d' from {found.each_dprime.min():.3g} to "
                f"{found.each_dprime.max():.3g}",
            ),
            *row("mind", _ONE_NOISE if strong else ""),
        ]
    )


def write_roc(setup: Setup, found: Injection, path: Path) -> None:
    """
    Draw the ROC curve, measured and by the closed form.

    Parameters
    ----------
    setup : Setup
        The station.
    found : Injection
        Outputs of the filter.
    path : pathlib.Path
        PNG file.

    Raises
    ------
    InputError
        Where the file cannot be written, or matplotlib is not installed.
    """
    from scipy.special import ndtr  # noqa: PLC0415 -- not needed for --help

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
