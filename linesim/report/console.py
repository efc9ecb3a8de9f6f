"""Text for the console, in lines of at most 100 columns; and the same text as print sets it."""

import re
import textwrap
from collections.abc import Iterable, Sequence

WIDTH = 100
_HELD = "\N{NO-BREAK SPACE}"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|us|um|mm|lx|klx|k?Hz|MB/s|DN|e|px|m²|m/min)(?![\w/]))")

_MICRO = re.compile(r"(?<=\d )u(?=[ms]\b)|(?<=, )u(?=[ms](?:$|,))")
_TIMES = re.compile(r"(?<=[\dmx]) x (?=\d)")


def typeset(text: str) -> str:
    """Write units and products of the console as print does: µm, µs and ×."""
    return _TIMES.sub(" × ", _MICRO.sub("µ", text))


def listed(names: Sequence[str], link: str = "and") -> str:
    """Name several things in a sentence: one, two and three."""
    *first, last = names
    return f"{', '.join(first)} {link} {last}" if first else last


def paragraph(text: str, head: str = "  ", rest: str = "      ") -> list[str]:
    """Break a text into lines as it stands, also between a number and its unit."""
    return textwrap.wrap(text, WIDTH, initial_indent=head, subsequent_indent=rest)


def paragraphs(texts: Iterable[str]) -> list[str]:
    """Break several texts into lines, each set in."""
    return [line for text in texts for line in paragraph(text)]


def wrapped(text: str, head: str = "", rest: str = "") -> list[str]:
    """Break a text into lines of at most 100 columns, the first behind a head, others a rest."""
    held = _BEFORE_UNIT.sub(_HELD, text)
    lines = textwrap.wrap(held, WIDTH, initial_indent=head, subsequent_indent=rest)
    return [line.replace(_HELD, " ") for line in lines]
