"""Tables as CSV: whole or not there, finite, and harmless to a spreadsheet."""

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from linesim.files.atomic import write_text

_FORMULA = re.compile(r"\s*[=+\-@\t\r＝＋－＠]")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def write_csv(path: Path | str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """
    Write a table as CSV (RFC 4180, but lines end with a bare line feed), whole or not at all.

    Numbers are written in full, so that reading gives them back; None is an empty cell. A text that
    a spreadsheet would take for a formula, such as a file's name that begins with ``=``, gets an
    apostrophe in front, by which spreadsheets know a text.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(map(_harmless, header))
    for number, row in enumerate(rows, start=1):
        _refuse_row(number, header, row)
        writer.writerow(map(_harmless, row))
    write_text(path, text.getvalue())


def _refuse_row(number: int, header: Sequence[str], row: Sequence[object]) -> None:
    """Refuse a row that would shift columns or leave a NaN in the table."""
    if len(row) != len(header):
        msg = f"row {number} has {len(row)} cells, the header has {len(header)}"
        raise ValueError(msg)
    for name, cell in zip(header, row, strict=True):
        if isinstance(cell, float | np.floating) and not math.isfinite(cell):
            msg = f"row {number}, column {name} is {cell}: tables hold finite numbers only"
            raise ValueError(msg)


def _harmless(cell: object) -> object:
    """Mark a text that a spreadsheet would work out; plain numbers stay numbers."""
    if isinstance(cell, str) and _FORMULA.match(cell) and not _NUMBER.fullmatch(cell):
        return f"'{cell}"
    return cell
