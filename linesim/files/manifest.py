"""
The table that says which image was taken in which light: a CSV file with one row a frame.

Columns: ``file``, ``kind`` (flat or dark), ``exposure_us``, and one of ``irradiance_w_m2`` (at the
sensor) and ``photons`` (on a pixel) where the light is known. An exposure that is left out is the
one that the image file states. A folder stands for the table of its folders flat and dark.
"""

import csv
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Literal

from linesim.files.folders import images_in
from linesim.files.manifest_rows import Kind, Light, Manifest, Row, group_faults
from linesim.files.taken import exposure_us
from linesim.setup.errors import InputError, refuse
from linesim.setup.infiles import existing_file
from linesim.setup.shown import shown

NEEDED = ("file", "kind")
EXPOSURE = "exposure_us"
COLUMNS = (*NEEDED, EXPOSURE)
LIGHTS: tuple[Light, ...] = ("irradiance_w_m2", "photons")
_EXPECTED = (
    "a CSV file with the columns file, kind, exposure_us and, where the light is known, "
    "irradiance_w_m2 or photons"
)
_IMAGE = "a PNG, TIFF or JPEG image"
_KINDS: tuple[Kind, ...] = ("flat", "dark")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?")
_LARGEST = 1e15
_MOST_BYTES = 10_000_000

_Cells = dict[str, str]


def read_manifest(path: Path | str) -> Manifest:
    """
    Read which image was taken in which light.

    Cells are parted by commas, decimals by a point; lines that start with ``#`` and empty lines are
    skipped, a byte order mark too. File names are relative to the table. Each file is there; there
    are two frames at least a kind, exposure and light, and a dark for each exposure.
    """
    table = Path(path)
    name = f'manifest "{path}"'
    if table.is_dir():
        return _of_folder(table, name)
    existing_file(table, key="manifest", expected=_EXPECTED, written=str(path))
    lines = _lines(table, name)
    header, light = _header(*lines[0], name)
    faults: list[str] = []
    rows: list[Row] = []
    whole = True
    for number, text in lines[1:]:
        row, more = _row(_cells(text), header, light, _Place(table.parent, number, name))
        faults += more
        whole &= row is not None
        rows += [row] if row is not None else []
    faults += _files_twice(rows, name)
    if whole:  # else a group may lack just what could not be read
        faults += group_faults(rows, name, light)
    if faults:
        raise InputError(*faults)
    return Manifest(name=table.name, rows=tuple(rows), light=light)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a row stands."""

    folder: Path
    number: int
    name: str

    def fault(self, text: str) -> str:
        return f"{self.name}, line {self.number}: {text}"


def _lines(table: Path, name: str) -> list[tuple[int, str]]:
    """Give number and text of each line that says something."""
    if table.stat().st_size > _MOST_BYTES:
        refuse(f"{name} is far too large; expected {_EXPECTED}")
    try:
        text = table.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        msg = f"{name} is not UTF-8 text (byte {fault.start + 1} does not fit); save it as UTF-8"
        raise InputError(msg) from None
    if "\0" in text:
        refuse(f"{name} is not a text file (it holds zero bytes); expected {_EXPECTED}")
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        refuse(f"{name} holds no line but comments; expected {_EXPECTED}")
    return lines


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], skipinitialspace=True))]


def _header(number: int, line: str, name: str) -> tuple[list[str], Light | None]:
    """Read the names of the columns, and which of them tells the light."""
    for mark, word in ((";", "semicolons"), ("\t", "tabs")):
        if mark in line and "," not in line:
            refuse(f"{name}, line {number}: the cells are parted by {word}; expected commas")
    names = [cell.casefold() for cell in _cells(line)]
    faults = [f"{name}, line {number}: {fault}" for fault in _header_faults(names)]
    if faults:
        raise InputError(*faults)
    return names, next((light for light in LIGHTS if light in names), None)


def _header_faults(names: list[str]) -> list[str]:
    if not set(names) & set(COLUMNS):
        wanted = ",".join((*COLUMNS, LIGHTS[0]))
        read = shown(",".join(names))
        return [f"read {read}, but the first line must name the columns; expected {wanted}"]
    missing = [each for each in NEEDED if each not in names]
    twice = [each for each in dict.fromkeys(names) if names.count(each) > 1]
    both = [" and ".join(LIGHTS)] * (set(LIGHTS) <= set(names))
    return [
        *(f"there is no column {each}; expected {', '.join(COLUMNS)}" for each in missing),
        *(f"the column {shown(each)} stands there more than once" for each in twice),
        *(_unknown(each) for each in names if each not in (*COLUMNS, *LIGHTS)),
        *(f"{each} both tell the light; expected one of them" for each in both),
    ]


def _unknown(name: str) -> str:
    near = get_close_matches(name, (*COLUMNS, *LIGHTS), n=1)
    hint = f"did you mean {near[0]}?" if near else "put remarks into lines that start with #"
    return f"there is no column {shown(name)}; {hint}"


def _row(
    cells: list[str], header: list[str], light: Light | None, place: _Place
) -> tuple[Row | None, list[str]]:
    """Read one row; without one where its kind or its numbers cannot be told."""
    if len(cells) != len(header):
        more = " (write decimals with a point)" if len(cells) > len(header) else ""
        text = f"{len(cells)} cells were read, but the header names {len(header)}{more}"
        return None, [place.fault(text)]
    values: _Cells = dict(zip(header, cells, strict=True))
    faults: list[str] = []
    kind = _kind(values["kind"], faults)
    seen = _light(kind, values[light], light, faults) if light else None
    file = place.folder / values["file"]
    missing: tuple[str, ...] = ()
    try:
        _existing(file, values["file"], place)
    except InputError as fault:
        missing = fault.faults
    exposure_us = _exposure_us(values.get(EXPOSURE, ""), None if missing else file, faults)
    faults = [*(place.fault(fault) for fault in faults), *missing]
    if faults or kind is None or exposure_us is None:
        return None, faults
    row = Row(line=place.number, file=file, kind=kind, exposure_us=exposure_us, light=seen)
    return row, faults


def _exposure_us(text: str, file: Path | None, faults: list[str]) -> float | None:
    """Read the exposure in the table; left out, the one that the file states."""
    if text:
        time_us = _number(EXPOSURE, text, faults)
        if time_us == 0:
            faults.append("exposure_us: read 0; expected a time above 0")
        return time_us
    stated = None if file is None else exposure_us(file)
    if stated is None and file is not None:
        faults.append(
            "exposure_us: read nothing, and the image file states no exposure time; expected a "
            "number, such as 12.5"
        )
    return stated


def _of_folder(folder: Path, name: str) -> Manifest:
    """Take the frames of the folders flat and dark, by the exposures that their files state."""
    missing = [kind for kind in _KINDS if not (folder / kind).is_dir()]
    if missing:
        refuse(f"{name}: holds no folder {' and no folder '.join(missing)}; expected flat and dark")
    stated = {
        file: (kind, exposure_us(file)) for kind in _KINDS for file in images_in(folder / kind)
    }
    rows = [
        Row(line=0, file=file, kind=kind, exposure_us=time_us, light=None)
        for file, (kind, time_us) in stated.items()
        if time_us is not None
    ]
    faults = [
        f'{name}: "{kind}/{file.name}" states no exposure time; expected one, or a CSV table in '
        "place of the folder"
        for file, (kind, time_us) in stated.items()
        if time_us is None
    ]
    faults = faults or list(group_faults(rows, name, None))
    if faults:
        raise InputError(*faults)
    return Manifest(name=folder.name, rows=tuple(rows), light=None)


def _existing(file: Path, written: str, place: _Place) -> None:
    if not written:
        raise InputError(place.fault(f"the file's name is missing; expected {_IMAGE}"))
    existing_file(file, key=place.fault("file"), expected=_IMAGE, written=written)


def _kind(text: str, faults: list[str]) -> Literal["flat", "dark"] | None:
    match text.casefold():
        case "flat":
            return "flat"
        case "dark":
            return "dark"
    faults.append(f"kind: read {shown(text)}; expected flat or dark")
    return None


def _number(column: str, text: str, faults: list[str]) -> float | None:
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    if 0 <= value <= _LARGEST:
        return value
    expected = "a number, such as 12.5"
    if _DECIMAL_COMMA.fullmatch(text):
        expected = "a point as decimal mark, not a comma"
    elif value < 0 or value > _LARGEST:
        expected = "a number from 0 up, within physical range"
    read = shown(text) if text else "nothing"
    faults.append(f"{column}: read {read}; expected {expected}")
    return None


def _light(kind: str | None, text: str, column: Light, faults: list[str]) -> float | None:
    """Read the light of a frame; a dark one has none, told or not."""
    if kind == "dark" and not text:
        return None
    value = _number(column, text, faults)
    if kind == "flat" and value == 0:
        faults.append(f"{column}: read 0 for a flat frame; expected light, or kind dark")
    if kind == "dark" and value:
        faults.append(f"{column}: read {value:g} for a dark frame; expected 0 or an empty cell")
    return None if kind == "dark" else value


def _files_twice(rows: list[Row], name: str) -> Iterator[str]:
    first: dict[Path, int] = {}
    for row in rows:
        file = row.file.resolve()
        if file in first:
            yield (
                f'{name}, line {row.line}: the file "{row.file.name}" stands in line {first[file]} '
                "too; expected another look at the same light"
            )
        first.setdefault(file, row.line)
