"""Prediction and capture side by side, for the console."""

from collections.abc import Sequence

from linesim.figures.safety import MACHINERY
from linesim.report.console import paragraph
from linesim.studies.measure.against.agreement import OFF_SHARE, OFF_SIGMA, Agreement, Difference
from linesim.studies.measure.against.geometry import Geometry
from linesim.studies.measure.areas import GREY
from linesim.studies.measure.lines import caution_lines, plus_minus

LABELS = {
    "electrons_white": ("signal on white", "e"),
    "noise_white_e": ("noise at equal signal", "e"),
    "snr_white": ("SNR on white", ""),
    "black_dn": ("black level", "DN"),
    "light_ends": ("light at the line's ends", ""),
    "light_right_left": ("light, right over left", ""),
    "dark_noise_e": ("noise in the dark", "e"),
    "gain_dn_e": ("gain by shot noise", "DN/e"),
    "mtf50_x_lp_mm": ("MTF50 across", "lp/mm"),
    "mtf50_y_lp_mm": ("MTF50 along", "lp/mm"),
    "column_pattern": ("columns' light, rms", ""),
    "line_light": ("lines' light, rms", ""),
    "line_places_px": ("lines' places, rms", "lines"),
    "line_sideways_px": ("lines aside, rms", "columns"),
}
GEOMETRY = {
    "shift_along_px": ("shift along", "lines"),
    "shift_across_px": ("shift across", "columns"),
    "scale_along": ("lines for a length", "of those predicted"),
    "scale_across": ("columns for a length", "of those predicted"),
    "rotation_deg": ("turn of the target", "degrees"),
    "shear_deg": ("skew of the line", "degrees more"),
}
AGREES = (
    f"Nothing is off: no figure differs by over {OFF_SIGMA:g} sigma and over {OFF_SHARE:.0%} (our "
    "choice)."
)
_FLAT = "The target has too little detail for a word on sharpness and on where the image lies."


def text(found: Agreement, title: str) -> str:
    """Lay an agreement out for the console; ``title`` is the setup's."""
    rows = [
        f"image against prediction: {title}",
        f"  {'':<26}{'predicted':<16}{'measured':<24}{'difference':<12}sigma",
    ]
    for colour, own in found.differences.items():
        rows += [] if colour == GREY else [f"  {colour}"]
        rows += [_row(each) for each in own]
    rows += ["", "  how the image lies", *_geometry(found.geometry)]
    said = list(found.findings or (AGREES,)) + ([] if found.detailed else [_FLAT])
    for sentence in (*said, *found.explanations):
        rows += ["", *paragraph(sentence, "", "")]
    return "\n".join([*rows, *caution_lines(found.cautions, MACHINERY)])


def texts(found: Sequence[Agreement], title: str) -> str:
    """Lay several captures out, one after the other, and what they share at the end."""
    if len(found) == 1:
        return text(found[0], title)
    parts = [f"{each.name}\n{text(each, title)}" for each in found]
    names = [name for name in LABELS if any(_off(each, name) for each in found)]
    shared = [
        f"  {LABELS[name][0]:<26}off in {sum(_off(each, name) for each in found)} of {len(found)}"
        for name in names
    ]
    head = f"of {len(found)} images" if shared else f"of {len(found)} images none has a figure off"
    return "\n\n".join([*parts, "\n".join([head, *shared])])


def _off(found: Agreement, name: str) -> bool:
    return any(
        each.name == name and each.is_off for own in found.differences.values() for each in own
    )


def _row(each: Difference) -> str:
    label, unit = LABELS[each.name]
    predicted = f"{each.predicted:.5g} {unit}".rstrip()
    share = "" if each.share is None else f"{each.share:+.1%}"
    row = f"  {label:<26}{predicted:<16}{plus_minus(each.measured):<24}{share:<12}"
    return f"{row}{each.sigma:+.1f}{'  OFF' if each.is_off else ''}"


def _geometry(found: Geometry) -> list[str]:
    rows = []
    for name, (label, unit) in GEOMETRY.items():
        value = f"{plus_minus(found.figures[name])} {unit}"
        rows.append(f"  {label:<26}{'not told by this target' if name in found.untold else value}")
    return [*rows, f"  {'mirrored':<26}{found.mirrored}"]
