"""The console's table of a comparison: one column a variant, the best of each row marked."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from linesim.figures.case import Value, values
from linesim.figures.groups import ENDS
from linesim.figures.plain_numbers import alarms, chance, digits, percent, significant
from linesim.figures.safety import CODES, MACHINERY, shared_cautions
from linesim.figures.verdicts import State, worst_state
from linesim.report.console import WIDTH, wrapped
from linesim.report.judged_rows import judged_rows
from linesim.report.verdict_words import STATES, summary
from linesim.studies.compare.study import Compared, Comparison
from linesim.studies.compare.words import answer

ALL = "all together"
"""What the row of all verdicts is called."""
_LABEL_WIDTH = 30
_LONGEST_TITLE = 14
_NARROWEST = 9
_SAME = 1e-6
"""
Values closer than this, and closer than this share, are equally good: rounding of other ways to the
same number, and rates of false alarms that nobody lives to see; our choice.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One figure in all variants."""

    label: str
    group: str
    name: str
    better: str


LINES = tuple(
    Line(label=label, group=group, name=name, better=better)
    for label, group, name, better in (
        ("object pixel across, um", "geometry", "object_pixel_x_um", "low"),
        ("object pixel along, um", "geometry", "object_pixel_y_um", "low"),
        ("line advance, um", "geometry", "line_advance_um", ""),
        ("coverage", "geometry", "coverage", ""),
        ("pixel aspect", "geometry", "pixel_aspect", ""),
        ("image width, px", "geometry", "image_width_px", ""),
        ("image lines", "geometry", "image_lines", ""),
        ("line rate, Hz", "geometry", "line_rate_hz", ""),
        ("colour offset, lines", "geometry", "misregistration_px", "small"),
        ("its swing, lines", "geometry", "misregistration_swing_px", "small"),
        ("colour offset across, px", "geometry", "misregistration_x_px", "small"),
        ("image data, MB/s", "geometry", "data_rate_mb_s", "low"),
        ("depth of field, mm", "geometry", "depth_of_field_mm", "high"),
        ("exposure, us", "exposure", "exposure_us", ""),
        ("camera's line rate used", "limits", "line_rate_share", ""),
        ("link used", "limits", "link_share", ""),
        ("lamp's pulse rate used", "limits", "pulse_rate_share", ""),
        ("brightest part, of its limit", "limits", "clipping_share", ""),
        ("motion blur, um", "exposure", "motion_blur_um", "low"),
        ("radiance factor", "signal", "radiance_factor", ""),
        ("lamp power, W/m", "signal", "lamp_power_w_m", "low"),
        ("white, e", "signal", "electrons_white", "high"),
        ("noise on white, e", "signal", "noise_white_e", ""),
        ("SNR on white", "signal", "snr_white", "high"),
        ("product, e", "signal", "electrons_product", "high"),
        ("SNR on the product", "signal", "snr_product", "high"),
        ("SNR with fixed pattern", "signal", "snr_total_white", "high"),
        ("white, DN", "signal", "dn_white", ""),
        ("white, of its limit", "signal", "saturation_white", ""),
        ("dynamic range, dB", "camera", "dynamic_range_db", "high"),
        ("MTF50 across, lp/mm", "resolution", "mtf50_x_lp_mm", "high"),
        ("MTF50 along, lp/mm", "resolution", "mtf50_y_lp_mm", "high"),
        ("defect, px across", "detection", "defect_px_x", "high"),
        ("defect, px along", "detection", "defect_px_y", "high"),
        ("contrast of the fault", "detection", "defect_contrast", ""),
        ("contrast to noise ratio", "detection", "defect_cnr", "high"),
        ("d′ of the defect", "detection", "defect_dprime", "high"),
        ("defects found", "detection", "detection_rate", "high"),
        ("false alarms", "detection", "false_alarms_per_m2", "low"),
        ("smallest disc found, um", "detection", "smallest_detectable_um", "low"),
        ("thinnest scratch found, um", "detection", "smallest_width_um", "low"),
        ("narrowest fault found, um", "detection", "smallest_relief_um", "low"),
        ("texture, of the noise", "detection", "texture_share", "low"),
    )
)
"""The figures that matter, in the order of the light."""
_SHARES = ("clipping_share", "saturation_white", "texture_share", "defect_contrast")
_USED = ("line_rate_share", "link_share", "pulse_rate_share")
"""Told in percent."""
_FORMS: Mapping[str, Callable[[float], str]] = {
    "detection_rate": chance,
    "false_alarms_per_m2": alarms,
    **dict.fromkeys((*_SHARES, *_USED), percent),
}
_SET = ("geometry", "exposure")
"""Follow from what was typed alone; of all else the model knows three digits."""
_WHOLE_GROUP = "detection"
_LEFT_OUT = ("alarm_threshold", "rose_diameter_um", "rose_false_alarms_per_m2")
"""Follow from the requirement or say the same by another rule; compare.csv has them."""


def compare_text(found: Comparison) -> str:
    """Lay a comparison out for the console: table, cautions and the answer in words."""
    return "\n".join(
        [
            *wrapped(found.title),
            *(line for one in found.variants for line in _outcome(one)),
            "",
            *_table(found),
            "",
            *_verdicts(found),
            "",
            "cautions",
            *_cautions(found),
            "",
            "answer",
            *(line for said in answer(found) for line in _paragraph(said)),
        ]
    )


def _outcome(one: Compared) -> list[str]:
    """Say first what comes of a variant."""
    scan = one.scan
    return wrapped(f"{one.title}: {summary(scan.setup, scan.budget.verdicts)}", "  ", "      ")


def _table(found: Comparison) -> list[str]:
    heads, legend = _heads(found)
    rows = list(figure_rows(found))
    widths = [
        max(_NARROWEST, len(head) + 1, *(len(cells[place]) for _, cells in rows))
        for place, head in enumerate(heads)
    ]
    lines = [("", [f"{head} " for head in heads]), *rows]
    laid = [
        f"  {label:<{_LABEL_WIDTH}}"
        + "".join(f"{cell:>{width + 1}}" for cell, width in zip(cells, widths, strict=True))
        for label, cells in lines
    ]
    note = "  * best of its row, whether or not the variant runs" + _colour_note(found)
    return [*legend, *(line.rstrip() for line in laid), "", note]


def _heads(found: Comparison) -> tuple[list[str], list[str]]:
    """Give the heads of the columns: titles where they fit, else letters and what they mean."""
    titles = [one.title for one in found.variants]
    room = (WIDTH - _LABEL_WIDTH) // len(titles) - 3
    if max(map(len, titles)) <= min(room, _LONGEST_TITLE):
        return titles, []
    letters = [chr(ord("A") + place) for place in range(len(titles))]
    said = [f"  {letter}  {title}" for letter, title in zip(letters, titles, strict=True)]
    return letters, [*said, ""]


def _colour_note(found: Comparison) -> str:
    several = any(
        isinstance(one.scan.budget["signal"]["snr_white"], Mapping) for one in found.variants
    )
    return "; of several colours the weakest" if several else ""


def _lines(found: Comparison) -> Iterator[Line]:
    """Give the lines above, each for the ends too where these are darker, then what is left."""
    known = {line.name for line in LINES if line.group == _WHOLE_GROUP} | set(_LEFT_OUT)
    aged = any(one.scan.setup.light.maintenance_factor for one in found.variants)
    worst = "worst" if aged else "ends"
    for line in LINES:
        yield line
        if any(_differs(one, line) for one in found.variants):
            yield replace(line, label=f"{line.label}, {worst}", name=line.name + ENDS)
    names = [name for one in found.variants for name in one.scan.budget[_WHOLE_GROUP]]
    for name in dict.fromkeys(names):
        if name.removesuffix(ENDS) not in known:
            yield Line(label=name, group=_WHOLE_GROUP, name=name, better="")


def _differs(one: Compared, line: Line) -> bool:
    """Tell whether a figure is another at the ends of the line."""
    group = one.scan.budget[line.group]
    ends = group.get(line.name + ENDS)
    return ends is not None and ends != group.get(line.name)


def figure_rows(found: Comparison) -> Iterator[tuple[str, list[str]]]:
    """Give each figure in all variants, the best marked; of several colours the weakest."""
    for line in _lines(found):
        given = [one.scan.budget[line.group].get(line.name) for one in found.variants]
        numbers = [None if value is None else _weakest(value, line.better) for value in given]
        if any(number is not None for number in numbers):
            marks = _best(numbers, line.better)
            cells = ["-" if each is None else _number(line, each) for each in numbers]
            yield line.label, [f"{c}{m}" for c, m in zip(cells, marks, strict=True)]


def _weakest(value: Value, better: str) -> float:
    each = values(value)
    if better == "small":
        return max(map(abs, each))
    return max(each) if better == "low" else min(each)


def _best(numbers: list[float | None], better: str) -> list[str]:
    """Mark the best values; nothing where all are equally good, or neither way is better."""
    known = [number for number in numbers if number is not None]
    best = max(known) if better == "high" else min(known)
    marked = [
        number is not None and abs(number - best) <= _SAME * max(1, abs(best)) for number in numbers
    ]
    return [" " if not better or all(marked) or not mark else "*" for mark in marked]


def _number(line: Line, value: float) -> str:
    """Write three digits, four of what is set exactly, shares in percent, and bounds as such."""
    name = line.name.removesuffix(ENDS)
    if name in _FORMS:
        return _FORMS[name](value)
    exact = line.group in _SET or name.startswith("dn_")
    return digits(value, 4) if exact else significant(value)


def verdict_rows(
    found: Comparison, form: Callable[[State, str], str]
) -> Iterator[tuple[str, list[str]]]:
    """Give the state of each variant, then each of its verdicts."""
    variants = found.variants
    judged = [{r.label: r for r in judged_rows(o.scan.setup, o.scan.budget)} for o in variants]
    yield ALL, [form(worst_state(one.verdicts), "") for one in variants]
    for label in dict.fromkeys(label for rows in judged for label in rows):
        there = [rows.get(label) for rows in judged]
        yield label, ["-" if row is None else form(row.state, row.margin) for row in there]


def _verdicts(found: Comparison) -> list[str]:
    """Tell the verdicts below the table, a line each, so that their words have room."""
    heads = _heads(found)[0]
    lines = ["verdicts"]
    for label, cells in verdict_rows(found, _state_and_margin):
        lines += wrapped(
            "; ".join(f"{head} {cell}" for head, cell in zip(heads, cells, strict=True)),
            f"  {label}: ",
            "      ",
        )
    return lines


def _state_and_margin(state: State, margin: str) -> str:
    return f"{STATES[state]}, {margin}" if margin else STATES[state]


def _cautions(found: Comparison) -> list[str]:
    """Tell each caution once, with the columns that it holds for."""
    holders: dict[tuple[str, str], list[str]] = {}
    heads = _heads(found)[0]
    for head, one in zip(heads, found.variants, strict=True):
        for caution in one.scan.budget.cautions:
            if caution.code not in CODES:
                holders.setdefault((caution.code, caution.text), []).append(head)
    lines = []
    for (code, text), held in holders.items():
        who = "all" if len(held) == len(found.variants) else ", ".join(held)
        lines += _paragraph(f"{code} ({who}): {text}")
    light = [(head, one.scan.setup) for head, one in zip(heads, found.variants, strict=True)]
    for each in shared_cautions(light):
        lines += _paragraph(f"{each.code} ({each.who or 'all'}): {each.text}")
    return [*lines, *_paragraph(MACHINERY)]


def _paragraph(text: str) -> list[str]:
    return wrapped(text, "  ", "      ")
