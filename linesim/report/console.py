"""Text for the console: lines of at most 100 columns, a number never parted from its unit."""

import re
import textwrap

WIDTH = 100
_HELD = "\N{NO-BREAK SPACE}"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|us|um|mm|lx|klx|k?Hz|MB/s|DN|e|px|m²|m/min)(?![\w/]))")


def wrapped(text: str, head: str = "", rest: str = "") -> list[str]:
    """
    Break a text into lines.

    Parameters
    ----------
    text : str; sentences
    head, rest : str; stand before the first line, and before all others

    Returns
    -------
    list of str; of at most 100 columns, but for long names
    """
    held = _BEFORE_UNIT.sub(_HELD, text)
    lines = textwrap.wrap(held, WIDTH, initial_indent=head, subsequent_indent=rest)
    return [line.replace(_HELD, " ") for line in lines]
