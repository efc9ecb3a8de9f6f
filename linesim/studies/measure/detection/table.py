"""Injected defects for people: a table and the ROC curve."""

from dataclasses import dataclass

import numpy as np
import scipy

from linesim.figures.cautions import Caution
from linesim.forward.device.choice import rendered_on
from linesim.metrics.flat.noise import Estimate
from linesim.report.plots import INK, new_figure, png_bytes, style
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup
from linesim.studies.measure.detection.study import Injection
from linesim.studies.measure.lines import plus_minus, row

_THRESHOLDS = np.linspace(9, -5, 400)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What a search of injected defects gives, channel by channel."""

    setup: Setup
    channels: tuple[Injection, ...]
    cautions: tuple[Caution, ...] = ()
    device: str | None = None  # what made the images, as torch names it; None for numpy

    def as_dict(self) -> dict[str, object]:
        """Give the figures as JSON has them; of a colour camera one each a colour."""
        each, by = [_figures(one) for one in self.channels], rendered_on(self.device)
        if len(each) == 1:
            return {**each[0], **by}
        colours = (zip(COLOURS, (one[name] for one in each), strict=True) for name in each[0])
        return {name: dict(of) for name, of in zip(each[0], colours, strict=True)} | by


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


def text(trial: Trial) -> str:
    """Lay out what was found for the console."""
    found, need = trial.channels, trial.setup.requirement
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
    places, depth = found.each_dprime, found.closed_dprime
    rows = (
        ("discs found", f"{rate}; closed form {100 * found.closed_rate:.2f} %"),
        ("alarm from", f"{found.threshold:.4g} sigma on, place not known"),
        ("d', place known", f"{plus_minus(seen)}; closed form {depth:.4g}"),
        (
            "area under the ROC curve",
            f"{plus_minus(area)}; mean of Φ(d'/√2) {found.expected_roc_area:.5f}",
        ),
        (
            "places on the pixel grid",
            f"{len(places)}, d' from {places.min():.3g} to {places.max():.3g}",
        ),
        (
            "peaks of noise",
            f"{found.peaks:.0f} over a lower threshold; closed form {found.closed_peaks:.0f}",
        ),
    )
    return [line for label, text in rows for line in row(label, text)]


def png(trial: Trial) -> bytes:
    """Draw the ROC curve of the weakest channel where the place is known, and by closed form."""
    found = min(trial.channels, key=lambda one: one.closed_dprime)
    figure, ((axes,),) = new_figure(width_mm=120, height_mm=110)
    false, hit = found.rates(_THRESHOLDS)
    axes.plot([0, 1], [0, 1], color=INK, linewidth=0.8, linestyle=":")
    closed = (scipy.special.ndtr(rise - _THRESHOLDS) for rise in (0.0, found.closed_dprime))
    axes.plot(*closed, label="closed form", **style(0))
    axes.plot(false, hit, label=f"{len(found.with_defect)} injected discs", **style(1))
    axes.set(xlabel="share of false alarms", ylabel="share of defects found",
             xlim=(0, 1), ylim=(0, 1.01), title=trial.setup.title)  # fmt: skip
    axes.legend(loc="lower right")
    return png_bytes(figure)
