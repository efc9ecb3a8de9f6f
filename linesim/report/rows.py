"""Figures and verdicts in words: by group with their units, as console and page show them."""

from collections.abc import Mapping
from dataclasses import dataclass
from string import Formatter

from linesim.budget.budget import Budget
from linesim.budget.verdicts import NEVER, Verdict
from linesim.setup.channels import COLOURS
from linesim.study.scan import Scan
from linesim.study.streamed import FiledScan

_FEWEST = 1e-6
"""False alarms on a square metre that are told as no more than that many."""
_LARGE = 10
"""Margins from here on are told as a factor."""
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
        ("defect contrast / noise", "{defect_cnr:.4g} a sample"),
        ("found of them", "{detection_rate:.4%} at d' {defect_dprime:.4g}"),
        ("alarms for the share wanted", "at most {false_alarms_per_m2:.2g}/m²"),
        ("smallest disc found", "{smallest_detectable_um:.4g} um",
         "; alarm from {alarm_threshold:.3g} sigma on"),
        ("thinnest scratch found", "{smallest_width_um:.4g} um"),
        ("by Rose's criterion, d' 5", "{rose_diameter_um:.4g} um",
         "; but {rose_false_alarms_per_m2:.2g} alarms/m²"),
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
    "smallest_defect": ("smallest defect found", "{wanted:.4g} um wanted, {got:.4g} um got"),
    "detection_rate": ("share of the defects found", "{wanted:.4%} wanted, {got:.4%} got"),
    "false_alarms_per_m2": ("false alarms per m²", "{wanted:.3g} wanted, {got:.3g} got"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """
    One row of figures, in words.

    Parameters
    ----------
    label : str
        What it tells of.
    colour : str
        Of which colour it speaks; empty where of all.
    text : str
        The figures with their units.
    """

    label: str
    colour: str
    text: str


def _row(label: str, text: str, behind: str, values: Mapping[str, object]) -> list[Row]:
    """Fill one row; a row that lacks a figure is left out."""
    named = [name for _, name, _, _ in Formatter().parse(text + behind) if name]
    if not all(name in values for name in named):
        return []
    by_colour = [name for name in named if isinstance(values[name], Mapping)]
    if not by_colour:
        return [Row(label=label, colour="", text=(text + behind).format_map(values))]
    filled = {colour: text.format_map(_of(colour, values)) for colour in COLOURS}
    if len(by_colour) == 1:  # short enough to stand side by side
        beside = ", ".join(f"{colour} {said}" for colour, said in filled.items())
        return [Row(label=label, colour="", text=f"{beside}{behind.format_map(values)}")]
    return [Row(label=label, colour=colour, text=said) for colour, said in filled.items()]


def _of(colour: str, values: Mapping[str, object]) -> dict[str, object]:
    """Give the figures of one colour, and those that all colours share."""
    return {
        name: value[colour] if isinstance(value, Mapping) else value
        for name, value in values.items()
    }


def _told(group: Mapping[str, object]) -> Mapping[str, object]:
    """Leave chances that are next to nothing at a bound, rather than tell them to the digit."""
    alarms = group.get("false_alarms_per_m2")
    if alarms is None:
        return group
    if isinstance(alarms, Mapping):
        return {**group, "false_alarms_per_m2": {k: max(v, _FEWEST) for k, v in alarms.items()}}
    return {**group, "false_alarms_per_m2": max(float(str(alarms)), _FEWEST)}


def _rows(group: Mapping[str, object], labels: tuple[tuple[str, ...], ...]) -> tuple[Row, ...]:
    return tuple(
        row for label, text, *behind in labels for row in _row(label, text, "".join(behind), group)
    )


def figure_rows(found: Budget) -> dict[str, tuple[Row, ...]]:
    """
    Put all figures of a budget into words.

    Parameters
    ----------
    found : Budget
        The figures.

    Returns
    -------
    dict
        Group -> its rows.
    """
    return {name: _rows(_told(found[name]), labels) for name, labels in _LABELS.items()}


def measured_rows(found: Scan | FiledScan) -> tuple[Row, ...]:
    """
    Put what was measured on an image into words.

    Parameters
    ----------
    found : Scan
        The scan.

    Returns
    -------
    tuple of Row
        In the order of the budget.
    """
    return _rows(found.measured, _MEASURED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """
    One requirement, in words.

    Parameters
    ----------
    label : str
        What is required.
    text : str
        What was wanted and what was got.
    margin : str
        By how much it is passed or missed.
    met : bool
        Whether it is reached.
    """

    label: str
    text: str
    margin: str
    met: bool


def judged_rows(found: Budget) -> tuple[Judged, ...]:
    """
    Put the verdicts of a budget into words.

    Parameters
    ----------
    found : Budget
        With its verdicts.

    Returns
    -------
    tuple of Judged
        In their order.
    """
    coloured = isinstance(found["signal"]["snr_white"], Mapping)
    return tuple(
        Judged(
            label=_WANTED[verdict.requirement][0] + (", weakest colour" if coloured else ""),
            text=_wanted_and_got(verdict),
            margin=_margin(verdict),
            met=verdict.met,
        )
        for verdict in found.verdicts
    )


def _wanted_and_got(verdict: Verdict) -> str:
    text = _WANTED[verdict.requirement][1].format(wanted=verdict.wanted, got=verdict.got)
    return text.partition(",")[0] if verdict.got == NEVER else text


def _margin(verdict: Verdict) -> str:
    if verdict.got == NEVER:
        return "never: no signal"
    return f"{verdict.margin:+.0%}" if verdict.margin < _LARGE else f"{verdict.margin:.2g} times"
