"""
Plots: one plain style for all of them, by matplotlib's Figure, without any state of a window.

Lines differ by colour, dash and mark at once, so that nobody needs to tell colours apart. The
colours are those of Okabe and Ito's set for colour-blind readers (from memory), dark ones first.
"""

import re
from contextlib import AbstractContextManager
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from linesim.setup.errors import InputError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#000000")
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (8, 2)), (0, (1, 1)))
_NAMED = (
    ("diffraction", "defocus", "rest blur", "pixel", "motion", "joined lines", "stages"),
    ("shot noise", "read noise", "fixed pattern", "quantisation", "dark current", "line noise"),
)
"""Curves that several plots draw, in the order of their looks."""
MARKS = ("o", "s", "^", "D", "v", "P", "X")
INK = "#1e1e22"
FAINT = "#d9d9de"
_MM = 1 / 25.4
_POWER = re.compile(r"\$\\mathdefault\{[-−0-9.^{}\\times]*\}\$")
"""A label of a logarithmic axis, as matplotlib writes it."""
_STYLE: Any = {
    "axes.edgecolor": INK,
    "axes.grid": True,
    "axes.labelcolor": INK,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "font.family": "sans-serif",
    "font.size": 9,
    "grid.color": FAINT,
    "grid.linewidth": 0.6,
    "legend.frameon": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "linesim",
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}
_PLACES = {"grey": 0, "blue": 0, "red": 1, "green": 2}


def _styled() -> AbstractContextManager[None]:
    from matplotlib import rc_context  # noqa: PLC0415 -- an extra, and slow to import

    return rc_context(_STYLE)


def new_figure(
    *, width_mm: float = 170.0, height_mm: float = 100.0, rows: int = 1, columns: int = 1
) -> "tuple[Figure, NDArray[np.object_]]":
    """
    Start a figure in the house style with axes of shape (rows, columns), none of their labels cut.

    The default width fits A4 with margins.
    """
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415 -- an extra, and slow to import
    except ImportError:
        msg = (
            'plots need matplotlib, which is not installed; expected: pip install "linesim[report]"'
        )
        raise InputError(msg) from None
    with _styled():
        figure = Figure(figsize=(width_mm * _MM, height_mm * _MM), layout="constrained")
        axes = figure.subplots(rows, columns, squeeze=False)
    return figure, axes


def style(index: int) -> dict[str, Any]:
    """Give the look of one of several lines in a plot; looks repeat after seven."""
    place = index % len(COLOURS)
    return {"color": COLOURS[place], "linestyle": DASHES[place], "linewidth": 1.6}


def curve_style(name: str) -> dict[str, Any]:
    """Give the look of a factor of the MTF or a source of noise: the same on each plot."""
    first = name.partition(",")[0]
    places = [group.index(first) for group in _NAMED if first in group]
    return style(places[0] if places else len(COLOURS) - 1)


def wanted_line(axes: "Axes", value: float, label: str) -> None:
    """Draw a requirement across a plot, with its name above the left end."""
    axes.axhline(value, color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
    axes.annotate(
        label,
        xy=(0, value),
        xycoords=axes.get_yaxis_transform(),
        xytext=(4, 3),
        textcoords="offset points",
        fontsize=8,
    )


def _take_dollars_as_they_are(figure: "Figure") -> None:
    """Keep titles and names of files from being set as formulas; powers of ten on axes are."""
    from matplotlib.text import Text  # noqa: PLC0415 -- an extra

    for each in figure.findobj(Text):
        if "$" in each.get_text():
            each.set_parse_math(_POWER.fullmatch(each.get_text()) is not None)


def png_bytes(figure: "Figure", *, dpi: float = 150.0) -> bytes:
    """Draw a figure as PNG; the same figure gives the same bytes."""
    out = BytesIO()
    _take_dollars_as_they_are(figure)
    with _styled():
        figure.savefig(out, format="png", dpi=dpi, metadata={"Software": None})
    return out.getvalue()


def svg_text(figure: "Figure") -> str:
    """Draw a figure as SVG to be set into a page; the same figure gives the same text."""
    out = BytesIO()
    _take_dollars_as_they_are(figure)
    with _styled():
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue().decode()
    return text[text.index("<svg") :]


def channel_style(name: str) -> dict[str, Any]:
    """Give the look of the line of "grey", "red", "green" or "blue"."""
    return {**style(_PLACES[name]), "linewidth": 1.0}


def channel_colour(name: str) -> str:
    """Give a channel's colour."""
    return str(style(_PLACES[name])["color"])


def channel_mark(name: str) -> str:
    """Give the mark of a channel's points."""
    return MARKS[_PLACES[name]]
