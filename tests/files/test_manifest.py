"""The table of frames: what is read, and one sentence for each thing that is wrong with it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from linesim.files.manifest import read_manifest
from linesim.setup.errors import InputError

GOOD = """\
# a remark
file,kind,exposure_us,irradiance_w_m2
a.tif,flat,100,1.5
b.tif,flat,100,1.5

"c.tif",Dark , 1e2 ,
d.tif,dark,100,0
"""


@pytest.fixture
def table(tmp_path: Path) -> Callable[[str | bytes], Path]:
    """Give a function that writes a table beside files a to f, which are not empty."""
    for name in "abcdef":
        (tmp_path / f"{name}.tif").write_bytes(b"x")

    def write(text: str | bytes) -> Path:
        path = tmp_path / "series.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


@pytest.mark.parametrize(
    "text",
    [GOOD, "\ufeff" + GOOD, GOOD.replace("\n", "\r\n"), GOOD.replace("file,kind", "File, KIND")],
    ids=["plain", "byte order mark", "CRLF", "capitals"],
)
def test_what_is_read(text: str, table: Callable[[str], Path]) -> None:
    """Rows with their lines, numbers in the column's unit, files beside the table, two groups."""
    found = read_manifest(table(text))
    assert (found.name, found.light) == ("series.csv", "irradiance_w_m2")
    assert [(row.line, row.file.name, row.kind, row.light) for row in found.rows] == [
        (3, "a.tif", "flat", 1.5),
        (4, "b.tif", "flat", 1.5),
        (6, "c.tif", "dark", None),
        (7, "d.tif", "dark", None),
    ]
    assert {row.exposure_us for row in found.rows} == {100.0}
    assert [(group.kind, len(group.rows)) for group in found.groups] == [("flat", 2), ("dark", 2)]


def test_light_may_be_photons_or_nothing(table: Callable[[str], Path]) -> None:
    """The other column, or none: then exposure times alone tell the steps apart."""
    photons = read_manifest(table(GOOD.replace("irradiance_w_m2", "photons")))
    assert (photons.light, photons.rows[0].light) == ("photons", 1.5)
    bare = "\n".join(line.rpartition(",")[0] for line in GOOD.splitlines() if "," in line)
    found = read_manifest(table(bare))
    assert (found.light, found.rows[0].light) == (None, None)


HEAD = "file,kind,exposure_us,photons\n"
REST = "c.tif,dark,100,\nd.tif,dark,100,\n"
FLATS = "a.tif,flat,100,5\nb.tif,flat,100,5\n"
WHOLE = {
    "empty": ("", "is empty (0 bytes)"),
    "comments": ("# nothing\n\n", "holds no line but comments"),
    "zero bytes": (b"file\0", "is not a text file"),
    "latin": ("file,kind,größe\n".encode("latin-1"), "is not UTF-8 text (byte 13 does not fit)"),
    "semicolons": (HEAD.replace(",", ";"), "line 1: the cells are parted by semicolons"),
    "tabs": (HEAD.replace(",", "\t"), "line 1: the cells are parted by tabs"),
    "no header": (FLATS, 'line 1: read "a.tif,flat,100,5", but the first line must name'),
    "no file": ("kind,exposure_us\n", "line 1: there is no column file"),
    "no exposure": (
        "file,kind\na.tif,flat\n",
        "line 2: exposure_us: read nothing, and the image file states no exposure time",
    ),
    "typo": (HEAD.replace("photons", "photon"), 'no column "photon"; did you mean photons?'),
    "extra": (HEAD.replace("\n", ",remark\n"), 'no column "remark"; put remarks into lines'),
    "both": (HEAD.replace("\n", ",irradiance_w_m2\n"), "both tell the light; expected one"),
    "twice": (HEAD.replace("\n", ",photons\n"), 'the column "photons" stands there more than once'),
}


@pytest.mark.parametrize(("text", "told"), WHOLE.values(), ids=WHOLE)
def test_a_table_that_is_none(
    text: str | bytes, told: str, table: Callable[[str | bytes], Path]
) -> None:
    """What is wrong with the whole, in one sentence."""
    with pytest.raises(InputError) as refusal:
        read_manifest(table(text))
    assert len(refusal.value.faults) == 1
    assert told in refusal.value.faults[0]
    assert refusal.value.faults[0].startswith('manifest "')


ROWS = {
    "kind": ("a.tif,bright,100,5", 'line 4: kind: read "bright"; expected flat or dark'),
    "word": ("a.tif,flat,long,5", 'line 4: exposure_us: read "long"; expected a number'),
    "nothing": ("a.tif,flat,,5", "line 4: exposure_us: read nothing, and the image file states no"),
    "zero": ("a.tif,flat,0,5", "line 4: exposure_us: read 0; expected a time above 0"),
    "negative": ("a.tif,flat,-3,5", 'line 4: exposure_us: read "-3"; expected a number from 0'),
    "no number": ("a.tif,flat,nan,5", 'line 4: exposure_us: read "nan"; expected a number'),
    "huge": ("a.tif,flat,1e99,5", 'line 4: exposure_us: read "1e99"; expected a number from 0'),
    "comma": ('a.tif,flat,"99,5",5', 'read "99,5"; expected a point as decimal mark'),
    "more cells": ("a.tif,flat,99,5,5", "line 4: 5 cells were read, but the header names 4 (write"),
    "fewer cells": ("a.tif,flat,99", "line 4: 3 cells were read, but the header names 4"),
    "no light": ("a.tif,flat,100,", "line 4: photons: read nothing; expected a number"),
    "dark flat": ("a.tif,flat,100,0", "line 4: photons: read 0 for a flat frame"),
    "lit dark": ("a.tif,dark,100,7", "line 4: photons: read 7 for a dark frame"),
    "nameless": (",flat,100,5", "line 4: the file's name is missing"),
    "missing": ("aa.tif,flat,100,5", 'line 4: file "aa.tif" does not exist (the nearest name'),
    "folder": (".,flat,100,5", 'line 4: file "." is a folder'),
    "again": ("c.tif,flat,100,5", 'line 4: the file "c.tif" stands in line 2 too'),
    "lonely": ("a.tif,flat,100,5", "line 4: this is the only flat frame at 100 us and 5 photons"),
}  # fmt: skip


@pytest.mark.parametrize(("row", "told"), ROWS.values(), ids=ROWS)
def test_a_row_that_is_wrong(row: str, told: str, table: Callable[[str], Path]) -> None:
    """Each fault is a sentence with the line's number."""
    more = "" if told.endswith("photons") else "b.tif,flat,100,5\ne.tif,flat,100,5\n"
    with pytest.raises(InputError) as refusal:
        read_manifest(table(HEAD + REST + row + "\n" + more))
    assert any(told in fault for fault in refusal.value.faults)
    # a frame without its partner follows from the row that could not be read, and is not told
    assert len(refusal.value.faults) == 1


def test_groups_that_lack_something(table: Callable[[str], Path]) -> None:
    """No dark, no flat, or flats at an exposure that no dark has."""
    other = "e.tif,flat,50,5\nf.tif,flat,50,5\n"
    for text, told in (
        (HEAD + FLATS, "has no dark frames"),
        (HEAD + REST, "has no flat frames"),
        (HEAD + REST + FLATS + other, "lines 6, 7: there are no dark frames at 50 us"),
    ):
        with pytest.raises(InputError) as refusal:
            read_manifest(table(text))
        assert [told in fault for fault in refusal.value.faults] == [True]


def test_all_faults_are_told_at_once(table: Callable[[str], Path]) -> None:
    """Five faults in three rows: five sentences, in the order of the lines."""
    rows = "x.tif,grey,0,5\na.tif,flat,one,5\ny.tif,flat,100,5\n"
    with pytest.raises(InputError) as refusal:
        read_manifest(table(HEAD + rows))
    lines = [fault.partition("line ")[2][0] for fault in refusal.value.faults]
    assert lines == ["2", "2", "2", "3", "4"]


def test_a_missing_table(tmp_path: Path) -> None:
    """The nearest name in that folder is offered."""
    (tmp_path / "series.csv").write_text("x", "utf-8")
    with pytest.raises(InputError, match=r"does not exist \(the nearest name.*series.csv"):
        read_manifest(tmp_path / "series1.csv")
