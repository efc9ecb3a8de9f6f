"""How figures read off an image are laid out for the console."""

import textwrap
from collections.abc import Callable, Iterable, Mapping

from linesim.figures.cautions import Caution
from linesim.metrics.flat.noise import Estimate
from linesim.studies.measure.areas import GREY, Area

_WIDTH = 100
_LABEL_WIDTH = 26
_DIGITS = 2


def plus_minus(figure: Estimate) -> str:
    """Write a figure with its standard error, to the place that the error leaves certain."""
    if not figure.sd > 0:
        return f"{figure.value:.6g}"
    places = max(0, _DIGITS - 1 - _exponent(figure.sd))
    return f"{figure.value:.{places}f} ± {figure.sd:.{places}f}"


def _exponent(value: float) -> int:
    """Power of ten of the first digit, once rounded to the digits shown."""
    return int(f"{value:.{_DIGITS - 1}e}".partition("e")[2])


def row(label: str, text: str) -> list[str]:
    """Lay out one row."""
    if not text:
        return []
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=f"  {label:<{_LABEL_WIDTH}}",
        subsequent_indent=" " * (_LABEL_WIDTH + 2),
    )


def channel_rows(
    channels: Mapping[str, object], rows: Iterable[tuple[str, Callable[..., str]]]
) -> list[str]:
    """Lay out rows, each with one line for each channel."""
    lines = []
    for label, text_of in rows:
        head = label
        for name, found in channels.items():
            text, colour = text_of(found), "" if name == GREY else f"{name:<6}"
            lines += row(head, colour + text) if text else []
            head = "" if text else head
    return lines


def headline(what: str, areas: tuple[Area, ...]) -> list[str]:
    """Say what was measured."""
    first, region = areas[0], areas[0].region
    names = ", ".join(each.name for each in areas)
    size = f"{region.width} columns x {region.height} lines from {region.x}, {region.y}"
    depth = f"{first.bit_depth} bit ({first.depth_from})"
    return [f"{what} of {names}", f"  {size}; {depth}", ""]


def caution_lines(cautions: tuple[Caution, ...]) -> list[str]:
    """Lay out cautions."""
    if not cautions:
        return []
    told = [
        textwrap.wrap(
            f"{each.code}: {each.text}", _WIDTH, initial_indent="  ", subsequent_indent="      "
        )
        for each in cautions
    ]
    return ["", "cautions", *(line for lines in told for line in lines)]
