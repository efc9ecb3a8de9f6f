"""Numbers as people write them."""

from numpy import format_float_positional

_LEAST = 1e-9


def people_number(value: float) -> str:
    """
    Write a number to four digits, without an exponent between a thousandth and 10⁹.

    Parameters
    ----------
    value : float
        Not negative.

    Returns
    -------
    str
        As people write it.
    """
    if not 1e-3 <= value < 1e9:  # noqa: PLR2004 -- as said
        return f"{value:.3g}"
    rounded = float(f"{value:.4g}")
    return f"{rounded:.0f}" if rounded >= 1000 else f"{rounded:g}"  # noqa: PLR2004 -- whole from here


def plain_number(value: float, digits: int = 4) -> str:
    """
    Write a number to some digits, never with an exponent.

    Parameters
    ----------
    value : float
        Finite.
    digits : int
        Significant ones.

    Returns
    -------
    str
        Nothing is said of what lies under a billionth: it is 0.
    """
    if 0 < abs(value) < _LEAST:
        return "0"
    return format_float_positional(float(f"{value:.{digits}g}"), trim="-")
