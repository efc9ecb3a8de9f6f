"""How figures read off an image are laid out for the console."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TypeVar

from linesim.figures.cautions import Caution
from linesim.metrics.flat.noise import Estimate
from linesim.report.console import paragraph, paragraphs
from linesim.studies.measure.areas import GREY, Area

_LABEL_WIDTH = 26
_DIGITS = 2
Found = TypeVar("Found")


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
    return paragraph(text, f"  {label:<{_LABEL_WIDTH}}", " " * (_LABEL_WIDTH + 2))


def channel_lines(
    what: str,
    areas: tuple[Area, ...],
    channels: Mapping[str, Found],
    rows: Iterable[tuple[str, Callable[[Found], str]]],
) -> list[str]:
    """Say what was measured, then lay out rows, each with one line for each channel."""
    lines = _headline(what, areas)
    for label, text_of in rows:
        head = label
        for name, found in channels.items():
            text, colour = text_of(found), "" if name == GREY else f"{name:<6}"
            lines += row(head, colour + text) if text else []
            head = "" if text else head
    return lines


def _headline(what: str, areas: tuple[Area, ...]) -> list[str]:
    """Say what was measured."""
    first, region = areas[0], areas[0].region
    names = ", ".join(each.name for each in areas)
    size = f"{region.width} columns x {region.height} lines from {region.x}, {region.y}"
    depth = f"{first.bit_depth} bit ({first.depth_from})"
    return [f"{what} of {names}", f"  {size}; {depth}", ""]


def caution_lines(cautions: Sequence[Caution], *more: str) -> list[str]:
    """Lay out cautions, and more sentences beneath them."""
    said = (*(f"{each.code}: {each.text}" for each in cautions), *more)
    lines = paragraphs(said)
    return ["", "cautions", *lines] if lines else []
