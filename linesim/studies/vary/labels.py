"""What figures and demands are called on plots and in tables of ranges."""

from collections.abc import Sequence

from linesim.figures.demands import Demand
from linesim.figures.groups import ENDS
from linesim.figures.plain_numbers import plain_number
from linesim.report.console import typeset
from linesim.studies.batch.ranges import Range, short
from linesim.studies.compare.table import LINES
from linesim.studies.vary.crossing import Span

_LABELS = {line.name: line.label for line in LINES} | {
    "snr_white": "SNR on white",
    "snr_product": "SNR on the product",
    "electrons_product": "product, e",
    "dn_product": "product, DN",
    "saturation_white": "white, share of its limit",
    "clipping_share": "brightest part, share of its limit",
    "line_rate_share": "line rate over the camera's",
    "pulse_rate_share": "line rate over the lamp's flashes",
    "link_share": "image data over the link's",
    "exposure_share": "exposure over the longest",
    "false_alarms_per_m2": "false alarms per m²",
    "texture_share": "texture's share of the noise",
}
_STOP = "lens.f_number"
_WHOLE = ("image_width_px", "image_lines")
_HELD = {
    "snr": "SNR {wanted} on the product holds",
    "smallest_defect": "a smallest defect of {wanted} um is found",
    "detection_rate": "{wanted} of the defects are found",
    "false_alarms_per_m2": "false alarms stay at {wanted}",
    "line_rate": "the camera keeps up",
    "pulse_rate": "the lamp keeps up",
    "link": "the link carries the data",
    "exposure": "the exposure fits the line period",
    "clipping": "nothing clips",
}
_MISSED = {
    "snr": "SNR on the product is missed",
    "smallest_defect": "the smallest defect is missed",
    "detection_rate": "too few of the defects are found",
    "false_alarms_per_m2": "there are too many false alarms",
    "line_rate": "the line rate is over the camera's",
    "pulse_rate": "the line rate is over the lamp's flashes",
    "link": "the image data are over the link's",
    "exposure": "the exposure is longer than the line period leaves",
    "clipping": "the picture clips",
}
_NAMED = {
    "snr": "SNR {wanted} on the product",
    "smallest_defect": "a smallest defect of {wanted} um",
    "detection_rate": "{wanted} of the defects found",
    "false_alarms_per_m2": "{wanted}",
    "line_rate": "the camera's line rate",
    "pulse_rate": "the lamp's pulse rate",
    "link": "the link's data rate",
    "exposure": "an exposure that fits",
    "clipping": "a picture that does not clip",
}


_AXES = {
    "acquisition.exposure": "exposure time",
    "lens.f_number": "f-number",
    "light.illuminance": "illuminance at the target",
    "light.irradiance": "irradiance at the target",
    "transport.speed": "speed of the target",
}
_BRIEF = {
    "snr": "SNR {wanted}",
    "smallest_defect": "{wanted} µm found",
    "detection_rate": "{wanted} found",
    "false_alarms_per_m2": "false alarms",
    "line_rate": "camera's line rate",
    "pulse_rate": "lamp's pulse rate",
    "link": "link's data rate",
    "exposure": "exposure too long",
    "clipping": "clips",
}
ORDER = tuple(_BRIEF)
"""Demands in the order of their looks on plots, the same on each."""


def axis_words(over: Range) -> str:
    """Name a range with its unit, for an axis."""
    key = over.key.dotted
    words = _AXES.get(key, key.rpartition(".")[2].replace("_", " "))
    return typeset(f"{words}, {over.unit}" if over.unit else words)


def brief_words(demand: Demand) -> str:
    """Name a demand in a word or two, for a line on a map."""
    return _BRIEF[demand.requirement].format(wanted=wanted_words(demand))


def label(figure: str) -> str:
    """Name a figure with its unit."""
    if figure.endswith(ENDS):
        return f"{label(figure.removesuffix(ENDS))}, at the ends"
    return _LABELS.get(figure, figure.replace("_", " "))


def number_words(figure: str, value: float) -> str:
    """Say a figure to three digits, and a whole number whole."""
    if figure in _WHOLE:
        return f"{round(value)}"
    return plain_number(value, 3)


def alarms_words(alarms_per_m2: float) -> str:
    """Say a number of false alarms on a square metre of product."""
    if alarms_per_m2 < 1:
        return f"one false alarm in {plain_number(1 / alarms_per_m2)} m²"
    return f"{plain_number(alarms_per_m2)} false alarms on a square metre"


def share_words(share: float) -> str:
    """Say a share in percent, with as many digits as it takes to tell it from all."""
    return f"{plain_number(100 * share, 8)} %"


def wanted_words(demand: Demand) -> str:
    """Say what is wanted of a figure."""
    if demand.requirement == "false_alarms_per_m2":
        return alarms_words(demand.wanted)
    return (
        share_words(demand.wanted)
        if demand.requirement == "detection_rate"
        else short(demand.wanted)
    )


def demand_words(demand: Demand) -> str:
    """Name a demand with its value."""
    return _NAMED[demand.requirement].format(wanted=wanted_words(demand))


def held_words(demand: Demand) -> str:
    """Say that a demand is met."""
    return _HELD[demand.requirement].format(wanted=wanted_words(demand))


def missed_words(demand: Demand) -> str:
    """Say that a demand is missed."""
    return _MISSED[demand.requirement]


def value_words(over: Range, value: float) -> str:
    """Say a value of a range so that it stands for itself."""
    said, key = over.said(value), over.key.dotted
    if over.unit:
        return said
    return f"f/{said}" if key == _STOP else f"{key.rpartition('.')[2].replace('_', ' ')} {said}"


def part_words(over: Range, span: Span) -> str:
    """Say one part of a range."""
    low, high = value_words(over, span.low), value_words(over, span.high)
    if span.begins and span.ends:
        return f"at {low} alone" if low == high else f"from {low} to {high}"
    if not span.begins and not span.ends:
        return f"over the whole range, {low} to {high}"
    return f"from {low} on" if span.begins else f"up to {high}"


def parts_words(over: Range, spans: Sequence[Span]) -> str:
    """Say parts of a range."""
    return " and ".join(part_words(over, span) for span in spans)
