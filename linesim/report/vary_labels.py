"""What figures and requirements are called on plots and in tables of ranges."""

from linesim.report.compare_table import LINES
from linesim.study.ranges import Range, short
from linesim.study.wishes import LIMIT, Wish

_LABELS = {line.name: line.label for line in LINES}
_STOP = "lens.f_number"
_WORDS = {
    "snr": "SNR {wanted}",
    "smallest_defect": "a smallest defect of {wanted} um",
    "detection_rate": "a share of {wanted} of the defects found",
    "false_alarms_per_m2": "{wanted} false alarms per m²",
}


def label(figure: str) -> str:
    """
    Name a figure with its unit.

    Parameters
    ----------
    figure : str
        As in the budget.

    Returns
    -------
    str
        For an axis or the head of a column.
    """
    if figure == LIMIT:
        return "white over its nearest limit"
    return _LABELS.get(figure, figure.replace("_", " "))


def wish_words(wish: Wish) -> str:
    """
    Name a requirement with its value.

    Parameters
    ----------
    wish : Wish
        The requirement.

    Returns
    -------
    str
        Such as "SNR 20".
    """
    return _WORDS[wish.requirement].format(wanted=short(wish.wanted))


def value_words(over: Range, value: float) -> str:
    """
    Say a value of a range so that it stands for itself.

    Parameters
    ----------
    over : Range
        The range.
    value : float
        In the door's unit.

    Returns
    -------
    str
        With its unit, or behind the name of its key.
    """
    said, key = over.said(value), over.key.dotted
    if over.unit:
        return said
    return f"f/{said}" if key == _STOP else f"{key.rpartition('.')[2].replace('_', ' ')} {said}"
