"""TIFF by rows: what tifffile, the independent reader, gives for the whole file."""

import contextlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.testing import assert_array_equal

from linesim.files.pixels import RefusedImageError
from linesim.files.tiff_rows import rows_of_tiff

RNG = np.random.default_rng(3)
WAYS: dict[str, dict[str, Any]] = {
    "in one piece": {},
    "in one strip": {"rowsperstrip": 1000},
    "from a Motorola": {"byteorder": ">"},
    "BigTIFF": {"bigtiff": True},
    "strips, LZW": {"rowsperstrip": 23, "compression": "lzw", "predictor": True},
    "strips, Deflate": {"rowsperstrip": 64, "compression": "zlib"},
    "tiles": {"tile": (32, 48)},
    "tiles, Deflate, Motorola": {"tile": (64, 16), "compression": "zlib", "byteorder": ">"},
}


def image(shape: tuple[int, ...], kind: str) -> np.ndarray[Any, Any]:
    """Make samples over the whole range."""
    if kind == "float32":
        return RNG.random(shape, dtype=np.float32)
    return RNG.integers(0, np.iinfo(kind).max, shape, endpoint=True).astype(kind)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("shape", [(211, 130), (211, 130, 3)], ids=["grey", "colour"])
def test_any_rows(tmp_path: Path, way: str, kind: str, shape: tuple[int, ...]) -> None:
    """First, last, some in the middle, across the ends of tiles: as in the whole image."""
    path = tmp_path / "a.tif"
    photometric = "rgb" if len(shape) == 3 else "minisblack"
    tifffile.imwrite(path, image(shape, kind), photometric=photometric, **WAYS[way])
    whole, by_rows = tifffile.imread(path), rows_of_tiff(path)
    assert by_rows is not None
    assert by_rows.shape == shape
    for first, last in ((0, 1), (0, 211), (210, 211), (60, 70), (31, 97)):
        found = by_rows.rows(first, last)
        assert found.dtype == np.dtype(kind)
        assert_array_equal(found, whole[first:last])


@pytest.mark.parametrize(
    "option",
    [
        {"photometric": "miniswhite"},
        {"photometric": "minisblack", "extratags": [(274, "H", 1, 3, True)]},
        {"photometric": "minisblack", "compression": "zlib", "rowsperstrip": 1 << 20},
        {"photometric": "minisblack", "compression": "jpeg", "tile": (16, 16)},
    ],
    ids=["white is 0", "upside down", "one packed strip", "JPEG"],
)
def test_others_are_left_to_the_whole_reader(
    tmp_path: Path, option: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is not plain, or would unpack to too much at once, is not opened by rows."""
    monkeypatch.setattr("linesim.files.tiff_rows._MOST_PART_BYTES", 1000)
    tifffile.imwrite(tmp_path / "a.tif", image((50, 40), "uint8"), **option)
    assert rows_of_tiff(tmp_path / "a.tif") is None


@pytest.mark.parametrize("code", [266, 317], ids=["FillOrder 2", "Predictor 2, not packed"])
def test_tags_that_readers_take_differently(tmp_path: Path, code: int) -> None:
    """Such files are left to the whole reader too; the writer would not write these: patched."""
    path, stand_in = tmp_path / "a.tif", 65000
    tag = [(stand_in, "H", 1, 2, True)]
    tifffile.imwrite(path, image((50, 40), "uint8"), photometric="minisblack", extratags=tag)
    assert rows_of_tiff(path) is not None
    told = path.read_bytes().replace(stand_in.to_bytes(2, "little"), code.to_bytes(2, "little"), 1)
    path.write_bytes(told)
    assert rows_of_tiff(path) is None


def test_no_tiff(tmp_path: Path) -> None:
    """Another file is none of its business."""
    (tmp_path / "a.tif").write_bytes(b"II*\0 and nothing else")
    (tmp_path / "b.png").write_bytes(b"\x89PNG")
    assert rows_of_tiff(tmp_path / "a.tif") is None
    assert rows_of_tiff(tmp_path / "b.png") is None


def test_a_head_that_is_damaged_anywhere(tmp_path: Path) -> None:
    """Each byte of the head in turn set to 0 and to 255: a sentence or nothing, never a crash."""
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, image((40, 30), "uint16"), rowsperstrip=8, compression="zlib")
    whole = path.read_bytes()
    with tifffile.TiffFile(path) as tiff:
        head = min(tiff.pages.first.dataoffsets)
    opened = 0
    for place in range(4, head):
        for value in (0, 255):
            path.write_bytes(whole[:place] + bytes([value]) + whole[place + 1 :])
            with contextlib.suppress(RefusedImageError):
                found = rows_of_tiff(path)
                opened += found is not None
                _ = found and found.rows(0, found.shape[0])
    assert opened > 100


def test_damaged_parts_are_named(tmp_path: Path) -> None:
    """A file that is cut short is refused when opened, a damaged strip where it is read."""
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, image((200, 100), "uint16"), rowsperstrip=20, compression="zlib")
    with tifffile.TiffFile(path) as tiff:
        place, count = (tiff.pages.first.dataoffsets[3], tiff.pages.first.databytecounts[3])
    whole = bytearray(path.read_bytes())
    whole[place : place + count] = bytes(count)
    path.write_bytes(whole)
    opened = rows_of_tiff(path)
    assert opened is not None
    assert opened.rows(0, 60).any()
    with pytest.raises(RefusedImageError, match="damaged in rows 50 to 70"):
        opened.rows(50, 70)
    path.write_bytes(whole[: place + 10])
    with pytest.raises(RefusedImageError, match="cut short"):
        rows_of_tiff(path)
