"""How the channels of an image look in plots: red reddish, green greenish, and told by dashes."""

from typing import Any

from linesim.report.plots import MARKS, style

_PLACES = {"grey": 0, "blue": 0, "red": 1, "green": 2}


def channel_style(name: str) -> dict[str, Any]:
    """
    Give the look of a channel's line.

    Parameters
    ----------
    name : str; "grey", "red", "green" or "blue"
    """
    return {**style(_PLACES[name]), "linewidth": 1.0}


def channel_colour(name: str) -> str:
    """Give a channel's colour."""
    return str(style(_PLACES[name])["color"])


def channel_mark(name: str) -> str:
    """Give the mark of a channel's points."""
    return MARKS[_PLACES[name]]
