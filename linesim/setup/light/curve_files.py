"""Curves over the wavelength, read from two-column text files."""

import csv
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.infiles import existing_file

SHORTEST_NM = 100.0
LONGEST_NM = 3000.0
_LONGEST_UM = LONGEST_NM / 1000.0
_COLUMNS = 2
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?")
_SHAPE = "two columns, wavelength in nm and {value}, parted by a comma, semicolon or tab"

_Line = tuple[int, list[str]]


def read_curve(
    path: Path | str, *, key: str, value_name: str, written: str | None = None
) -> tuple[FloatArray, FloatArray]:
    """
    Read a curve over the wavelength from a two-column CSV file.

    One header line may come first, ``#`` starts a comment, columns are parted by commas,
    semicolons or tabs. Falling wavelengths are turned round.
    """
    expected = _SHAPE.format(value=value_name)
    table, numbers = _table(path, key, expected, written)
    try:
        return _checked(table, numbers)
    except _FaultError as fault:
        raise InputError(_refusal(written or path, key, fault, expected)) from fault


def read_pairs(
    path: Path | str, *, key: str, expected: str, written: str | None = None
) -> FloatArray:
    """Read two rows or more of two numbers from a CSV file: shape (rows, 2)."""
    return _table(path, key, expected, written)[0]


def _table(
    path: Path | str, key: str, expected: str, written: str | None
) -> tuple[FloatArray, list[int]]:
    """Read the rows, and the numbers of their lines in the file."""
    file = existing_file(path, key=key, expected=expected, written=written)
    try:
        lines = _without_header(list(_lines(_text(file))))
        table = np.array([_row(line) for line in lines], dtype=np.float64)
    except _FaultError as fault:
        raise InputError(_refusal(written or path, key, fault, expected)) from fault
    return table, [number for number, _ in lines]


def _refusal(name: object, key: str, fault: Exception, expected: str) -> str:
    return f'{key} "{name}" {fault}; expected {expected}'


class _FaultError(Exception):
    """What was read that cannot be used."""


def _text(file: Path) -> str:
    """Read the whole file as UTF-8; a byte order mark is dropped."""
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        msg = f"is not UTF-8 text (byte {error.start + 1} does not fit)"
        raise _FaultError(msg) from error
    if "\0" in text:
        msg = "is not a text file (it holds zero bytes)"
        raise _FaultError(msg)
    return text


def _lines(text: str) -> Iterator[_Line]:
    """Give line number and stripped cells of each line that is not blank or a comment."""
    kept = [
        (number, line.split("#", 1)[0])
        for number, line in enumerate(text.splitlines(), start=1)
        if line.split("#", 1)[0].strip()
    ]
    if not kept:
        msg = "holds no row of numbers"
        raise _FaultError(msg)
    separator = next((mark for mark in ";\t" if any(mark in line for _, line in kept)), ",")
    for number, line in kept:
        cells = next(csv.reader([line], delimiter=separator))
        yield number, [cell.strip() for cell in cells]


def _without_header(lines: list[_Line]) -> list[_Line]:
    """Drop the first line where none of its cells starts like a number."""
    cells = lines[0][1]
    header = not any(re.match(r"[+-]?\.?\d", cell) for cell in cells)
    rows = lines[1:] if header else lines
    if len(rows) < _COLUMNS:
        msg = f"holds {len(rows)} row{'s' * (len(rows) != 1)} of numbers, fewer than 2"
        raise _FaultError(msg)
    return rows


def _row(line: _Line) -> list[float]:
    """Turn the two cells of a line into numbers."""
    number, cells = line
    for cell in cells:
        if _DECIMAL_COMMA.fullmatch(cell):
            msg = f'has a decimal comma in line {number} ("{cell}"), where a point is due'
            raise _FaultError(msg)
    if len(cells) != _COLUMNS:
        msg = f"has {len(cells)} column{'s' * (len(cells) != 1)} in line {number}"
        if len(cells) > _COLUMNS:
            msg += " (write decimals with a point, not with a comma)"
        raise _FaultError(msg)
    return [_number(cell, number) for cell in cells]


def _number(cell: str, number: int) -> float:
    """Read one cell; "nan", "inf", "1_000" and hexadecimals are no numbers here."""
    value = float(cell) if _NUMBER.fullmatch(cell) else np.nan
    if not np.isfinite(value):
        msg = f'has "{cell}" in line {number}, which is not a number'
        raise _FaultError(msg)
    return value


def _checked(table: FloatArray, numbers: list[int]) -> tuple[FloatArray, FloatArray]:
    """Check ranges and order, and give the columns with increasing wavelengths."""
    wavelength_nm, value = table.T
    _refuse_range(wavelength_nm, numbers)
    if (value < 0).any():
        at = int(np.argmax(value < 0))
        msg = f"has a negative value, {value[at]:g}, in line {numbers[at]}"
        raise _FaultError(msg)
    step_nm = np.diff(wavelength_nm)
    # The first two rows say which way the column runs; 0 fits neither way.
    wrong = step_nm * np.sign(step_nm[0]) <= 0
    if wrong.any():
        at = int(np.argmax(wrong)) + 1
        fault = "repeats" if wavelength_nm[at] in wavelength_nm[:at] else "is out of order with"
        msg = f"has {wavelength_nm[at]:g} nm in line {numbers[at]}, which {fault} an earlier line"
        raise _FaultError(msg)
    order = slice(None, None, 1 if step_nm[0] > 0 else -1)
    return np.ascontiguousarray(wavelength_nm[order]), np.ascontiguousarray(value[order])


def _refuse_range(wavelength_nm: FloatArray, numbers: list[int]) -> None:
    """Refuse wavelengths that no lens and sensor see, above all those in µm."""
    outside = (wavelength_nm < SHORTEST_NM) | (wavelength_nm > LONGEST_NM)
    if not outside.any():
        return
    at = int(np.argmax(outside))
    micrometres = bool(((wavelength_nm > 0) & (wavelength_nm <= _LONGEST_UM)).all())
    hint = " (are these µm? multiply them by 1000)" if micrometres else ""
    msg = (
        f"has a wavelength of {wavelength_nm[at]:g} in line {numbers[at]}, outside "
        f"{SHORTEST_NM:g} to {LONGEST_NM:g} nm{hint}"
    )
    raise _FaultError(msg)
