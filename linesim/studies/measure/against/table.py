"""Prediction and image side by side, for the console."""

import textwrap

from linesim.figures.safety import MACHINERY
from linesim.studies.measure.against.agreement import OFF_SHARE, OFF_SIGMA, Agreement
from linesim.studies.measure.lines import caution_lines, plus_minus

_WIDTH = 100
_LABELS = {
    "electrons_white": ("signal on white", "e"),
    "noise_white_e": ("noise at equal signal", "e"),
    "snr_white": ("SNR on white", ""),
    "mtf50_x_lp_mm": ("MTF50 across", "lp/mm"),
    "mtf50_y_lp_mm": ("MTF50 along", "lp/mm"),
}
_AGREES = (
    f"Nothing is off: no figure differs by over {OFF_SIGMA:g} sigma and over {OFF_SHARE:.0%} (our "
    "choice)."
)
_FLAT = "The target has too little detail for a word on sharpness."


def text(found: Agreement, title: str) -> str:
    """Lay an agreement out for the console; ``title`` is the setup's."""
    along_px, across_px = found.shift_px
    rows = [
        f"image against prediction: {title}",
        f"  {'':<24}{'predicted':<18}{'measured':<24}{'difference':<12}sigma",
    ]
    for each in found.differences:
        label, unit = _LABELS[each.name]
        predicted = f"{each.predicted:.5g} {unit}".rstrip()
        row = f"  {label:<24}{predicted:<18}{plus_minus(each.measured):<24}{each.share:<+12.1%}"
        rows.append(f"{row}{each.sigma:+.1f}{'  OFF' if each.is_off else ''}")
    rows.append(f"  {'place of the image':<24}{along_px:+.2f} lines, {across_px:+.2f} columns")
    said = list(found.findings or (_AGREES,)) + ([_FLAT] if found.ratio is None else [])
    for sentence in said:
        rows += ["", *textwrap.wrap(sentence, _WIDTH)]
    return "\n".join([*rows, *caution_lines(found.cautions, MACHINERY)])
