"""Numbers as people write them: no exponents, whole numbers whole, nothing rounded past a limit."""

from collections.abc import Callable
from math import floor, log10

from numpy import format_float_positional

_DIGITS = 3
_LEAST = 1e-9
_MOST_DIGITS = 9
_THOUSAND, _MILLION = 1e3, 1e6
_ALL = 0.9999
"""Shares over this are told as over it, and shares under the rest as under that."""
_FINE = 0.99
_LARGEST_RATIO = 1000
_FEWEST_ALARMS = 1e-6
"""False alarms on a square metre that are told as fewer than that, 1 on a km²; our choice."""


def digits(value: float, count: int = _DIGITS) -> str:
    """Write a number to some digits, without an exponent between 10⁻⁴ and 10¹²."""
    rounded = float(f"{value:.{count}g}")
    if rounded == 0:
        return "0"
    if 10**count <= abs(rounded) < 1e12:  # noqa: PLR2004 -- as said
        return f"{value:.0f}"
    return f"{rounded:.{count}g}"


def significant(value: float, count: int = _DIGITS) -> str:
    """Write a number to some digits, noughts behind them where it is larger."""
    return digits(float(f"{value:.{count}g}"), count)


def apart(got: float, wanted: float, form: Callable[[float, int], str] = digits) -> tuple[str, str]:
    """Write two numbers with as many digits as it takes to tell them apart."""
    for count in range(_DIGITS, _MOST_DIGITS):
        pair = form(got, count), form(wanted, count)
        if pair[0] != pair[1]:
            return pair
    return form(got, _DIGITS), form(wanted, _DIGITS)


def rate(rate_hz: float, count: int = _DIGITS) -> str:
    """Write a line rate."""
    if rate_hz < _THOUSAND:
        return f"{digits(rate_hz, count)} Hz"
    return f"{digits(rate_hz / _THOUSAND, count)} kHz"


def percent(share: float, count: int = _DIGITS) -> str:
    """Write a share that is no chance, such as that of a limit."""
    return f"{digits(100 * share, count)} %"


def chance(share: float, count: int = _DIGITS) -> str:
    """Write a share of defects; what is next to all or to none is told as a bound."""
    if share > _ALL and count <= _DIGITS:
        return f"over {100 * _ALL:g} %"
    if share < 1 - _ALL and count <= _DIGITS:
        return f"under {100 * (1 - _ALL):.2g} %"
    if share > _FINE:
        return f"{float(f'{100 * share:.{count - 1}f}'):.{_MOST_DIGITS}g} %"
    return percent(share, count)


def alarms(alarms_per_m2: float, count: int = _DIGITS) -> str:
    """Write a number of false alarms on product."""
    if alarms_per_m2 >= _MILLION:
        return f"{digits(alarms_per_m2 / _MILLION, count)} million per m²"
    if alarms_per_m2 >= 0.01:  # noqa: PLR2004 -- two zeros are read at a glance
        return f"{digits(alarms_per_m2, count)} per m²"
    if alarms_per_m2 >= _FEWEST_ALARMS:
        area_m2 = float(f"{1 / alarms_per_m2:.{count}g}")
        return f"1 per {area_m2:.0f} m²"
    return "under 1 per km²"


def ratio_words(ratio: float) -> str:
    """Write a factor."""
    if ratio >= _LARGEST_RATIO:
        return f"over {_LARGEST_RATIO} times"
    return f"{digits(ratio, 2 if ratio < 9.95 else _DIGITS)} times"  # noqa: PLR2004 -- 3.3, 17.8


def change_words(share: float) -> str:
    """Say how a fault with relief is seen, by the change of the product's level."""
    if share >= 1:
        return f"{ratio_words(1 + share)} as bright as the product"
    return f"{percent(abs(share))} {'brighter' if share > 0 else 'darker'} than the product"


def fill_words(share: float) -> str:
    """Say how far a level fills its limit: in per cent, or as a factor where it goes over."""
    return percent(share) if share <= 1 else ratio_words(share)


def at_most(value: float, count: int = _DIGITS) -> str:
    """Write a number over 0 rounded down, so that what is told is still allowed."""
    step = 10.0 ** (floor(log10(value)) - count + 1)
    return digits(floor(value / step * (1 + 1e-9)) * step, count)


def people_number(value: float) -> str:
    """Write a number from 0 up to four digits, without an exponent from a thousandth to 10⁹."""
    if not 1e-3 <= value < 1e9:  # noqa: PLR2004 -- as said
        return f"{value:.3g}"
    rounded = float(f"{value:.4g}")
    return f"{rounded:.0f}" if rounded >= 1000 else f"{rounded:g}"  # noqa: PLR2004 -- whole from here


def plain_number(value: float, digits: int = 4) -> str:
    """Write a number to some digits, never with an exponent; under a billionth it is 0."""
    if 0 < abs(value) < _LEAST:
        return "0"
    return format_float_positional(float(f"{value:.{digits}g}"), trim="-")
