"""Whether two figures agree, as far as they were written out."""

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from math import log

from linesim.setup.quantity import number_of
from linesim.setup.sheet.points import is_point

_NEPERS_A_DECIBEL = log(10) / 20


def apart(stated: float, means: float, within: float) -> bool:
    """Tell whether two figures differ by more than the rounding of all that both hang on."""
    return abs(stated - means) > max(stated, means) * within


def rounding(texts: Mapping[str, object], *keys: str) -> float:
    """Add up how far values may be rounded: half a step of the last digit of each, as a share."""
    return sum(_half_step(texts[key]) for key in keys if key in texts)


def _half_step(written: object) -> float:
    if isinstance(written, dict) and is_point(written):
        return sum(map(_half_step, written.values()))
    text = str(written).partition(":")[0]
    try:
        number = Decimal(number_of(f"{text} x" if _is_bare(text) else text))
    except (InvalidOperation, ValueError):
        return 0.0
    half = Decimal((0, (5,), int(number.as_tuple().exponent) - 1))
    if text.rstrip().endswith("dB"):
        return float(half) * _NEPERS_A_DECIBEL
    return float(half / abs(number)) if number else 0.0


def _is_bare(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
