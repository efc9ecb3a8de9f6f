"""Numbers as people write them."""


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
