"""The console's tables: figures by group with their units, cautions and verdicts in plain words."""

import textwrap
from collections.abc import Mapping
from string import Formatter

from linesim.budget.budget import Budget
from linesim.budget.safety import MACHINERY
from linesim.setup.channels import COLOURS
from linesim.study.scan import Scan

_WIDTH = 100
_LABEL_WIDTH = 26
_LABELS: dict[str, tuple[tuple[str, ...], ...]] = {
    "geometry": (
        ("object pixel", "{object_pixel_x_um:.4g} x {object_pixel_y_um:.4g} um (across x along)"),
        ("line advance", ("{line_advance_um:.4g} um, coverage {coverage:.3g}, "
         "aspect {pixel_aspect:.3g}")),
        ("image", "{image_width_px} px x {image_lines} lines"),
        ("seen on the target", "{field_of_view_mm:.4g} mm x {scan_length_mm:.4g} mm"),
        ("line rate", ("{line_rate_hz:.5g} Hz (matched {matched_line_rate_hz:.5g}, "
         "square {square_line_rate_hz:.5g})")),
        ("top speed of the camera", "{max_speed_mm_s:.4g} mm/s"),
        ("image data", "{data_rate_mb_s:.4g} MB/s"),
        ("depth of field", "{depth_of_field_mm:.3g} mm"),
        ("working distance", "{working_distance_mm:.4g} mm"),
        ("colour against green", "{misregistration_px:z.3g}", " lines"),
        ("swing of it by ripple", "{misregistration_swing_px:z.3g}", " lines"),
    ),
    "exposure": (
        ("exposure", "{exposure_us:.4g} us of {line_period_us:.4g} us (duty {duty:.0%})"),
        ("motion blur", "{motion_blur_um:.4g} um ({motion_blur_px:.3g} object pixels)"),
    ),
    "signal": (
        ("irradiance on the target", "{irradiance_target_w_m2:.4g} W/m²"),
        ("irradiance on the sensor", "{irradiance_sensor_w_m2:.4g} W/m²"),
        ("white", "{electrons_white:.5g} e, noise {noise_white_e:.4g} e, {dn_white:.5g} DN"),
        ("dark signal", "{dark_e:.4g} e"),
        ("SNR on white", ("{snr_white:.4g} ({snr_white_db:.3g} dB), "
         "with fixed pattern {snr_total_white:.4g}")),
        ("saturation", "{saturation_white:.1%}", " of the nearest limit ({saturation_limit})"),
    ),
    "camera": (
        ("dark noise", "{dark_noise_e:.4g} e"),
        ("sensitivity threshold", "{threshold_e:.4g} e"),
        ("saturation capacity", ("{saturation_e:.5g} e, SNR there {snr_max:.4g} "
         "({snr_max_db:.3g} dB)")),
        ("dynamic range", "{dynamic_range:.4g} ({dynamic_range_db:.3g} dB)"),
    ),
    "resolution": (
        ("Nyquist", "{nyquist_x_lp_mm:.4g} / {nyquist_y_lp_mm:.4g} lp/mm (across / along)"),
        ("MTF at Nyquist", ("{mtf_nyquist_x:.2f} / {mtf_nyquist_y:.2f}, "
         "of it motion {mtf_motion_nyquist_y:.2f}")),
        ("MTF50", "{mtf50_x_lp_mm:.4g} / {mtf50_y_lp_mm:.4g} lp/mm on the target"),
    ),
    "detection": (
        ("smallest defect", "{defect_px_x:.3g} x {defect_px_y:.3g} px"),
        ("defect contrast / noise", "{defect_cnr:.4g}"),
    ),
}  # fmt: skip
"""Of each row: what stands in front, the figures, and what stands once behind all colours."""
_MEASURED: tuple[tuple[str, ...], ...] = (
    ("white", "{electrons_white:.5g} e, noise {noise_white_e:.4g} e, {dn_white:.5g} DN"),
    ("SNR on white", ("{snr_white:.4g} ({snr_white_db:.3g} dB), "
     "with fixed pattern {snr_total_white:.4g}")),
    ("MTF at Nyquist across", "{mtf_nyquist_x:.2f}, MTF50 {mtf50_x_lp_mm:.4g} lp/mm"),
    ("MTF at Nyquist along", "{mtf_nyquist_y:.2f}, MTF50 {mtf50_y_lp_mm:.4g} lp/mm"),
    ("samples", ("{dn_min} to {dn_max} DN, mean {dn_mean:.5g}, at full scale "
     "{share_at_full_scale:.2%}")),
)  # fmt: skip
_WANTED = {
    "snr": ("SNR on white", "{wanted:.4g} wanted, {got:.4g} got"),
    "smallest_defect": (
        "pixels across the smallest defect",
        "{wanted:.3g} wanted, {got:.3g} got",
    ),
}


def _row(label: str, text: str, behind: str, values: Mapping[str, object]) -> list[str]:
    """Fill one row; a row that lacks a figure is left out."""
    named = [name for _, name, _, _ in Formatter().parse(text + behind) if name]
    if not all(name in values for name in named):
        return []
    by_colour = [name for name in named if isinstance(values[name], Mapping)]
    if not by_colour:
        return [f"  {label:<{_LABEL_WIDTH}}{(text + behind).format_map(values)}"]
    filled = {colour: text.format_map(_of(colour, values)) for colour in COLOURS}
    if len(by_colour) == 1:  # short enough to stand side by side
        beside = ", ".join(f"{colour} {said}" for colour, said in filled.items())
        return [f"  {label:<{_LABEL_WIDTH}}{beside}{behind.format_map(values)}"]
    labels = (label, "", "")
    return [
        f"  {first:<{_LABEL_WIDTH}}{colour:<6}{said}"
        for first, (colour, said) in zip(labels, filled.items(), strict=True)
    ]


def _of(colour: str, values: Mapping[str, object]) -> dict[str, object]:
    """Give the figures of one colour, and those that all colours share."""
    return {
        name: value[colour] if isinstance(value, Mapping) else value
        for name, value in values.items()
    }


def _paragraph(head: str, text: str) -> list[str]:
    return textwrap.wrap(f"{head}{text}", _WIDTH, initial_indent="  ", subsequent_indent="      ")


def _rows(group: Mapping[str, object], labels: tuple[tuple[str, ...], ...]) -> list[str]:
    return [
        line
        for label, text, *behind in labels
        for line in _row(label, text, "".join(behind), group)
    ]


def _verdict_lines(found: Budget) -> list[str]:
    lines = []
    for verdict in found.verdicts:
        label, text = _WANTED[verdict.requirement]
        if verdict.requirement == "snr" and isinstance(found["signal"]["snr_white"], Mapping):
            label = f"{label}, weakest colour"
        word = "met" if verdict.met else "MISSED"
        said = text.format(wanted=verdict.wanted, got=verdict.got)
        lines.append(f"  {word:<7}{label}: {said} ({verdict.margin:+.0%})")
    return lines


def budget_text(title: str, found: Budget) -> str:
    """
    Lay a budget out for the console.

    Parameters
    ----------
    title : str
        Of the setup.
    found : Budget
        Figures, cautions, verdicts.

    Returns
    -------
    str
        Lines of at most 100 characters, but for long names.
    """
    lines = textwrap.wrap(title, _WIDTH)
    for name, labels in _LABELS.items():
        lines += ["", name, *_rows(found[name], labels)]
    if found.verdicts:
        lines += ["", "requirements", *_verdict_lines(found)]
    lines += ["", "cautions"]
    for caution in found.cautions:
        lines += _paragraph(f"{caution.code}: ", caution.text)
    return "\n".join([*lines, *_paragraph("", MACHINERY)])


def scan_text(found: Scan) -> str:
    """
    Lay a scan's figures out for the console.

    Parameters
    ----------
    found : Scan
        The scan.

    Returns
    -------
    str
        The budget, and what was measured on the image.
    """
    measured = _rows(found.measured, _MEASURED)
    return "\n".join(
        [budget_text(found.setup.title, found.budget), "", "measured on the image", *measured]
    )
