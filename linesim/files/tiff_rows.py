"""
TIFF files by rows: a few at a time, so that an image larger than memory can be worked with.

Samples that lie unpacked in one piece are read where they lie. Packed ones are unpacked a row of
tiles or strips at a time. Only plain images are read this way; all others are read whole.
"""

from dataclasses import dataclass
from math import prod
from pathlib import Path
from typing import BinaryIO

import numpy as np
import tifffile

from linesim.files.lzw import check_lzw
from linesim.files.pixels import Codes, RefusedImageError
from linesim.files.tiff_in import refuse_missing_parts, stated_largest

_BLACK_IS_ZERO, _RGB = 1, 2
_LZW = 5
_UINT, _FLOAT = 1, 3
_KINDS = {(_UINT, 8), (_UINT, 16), (_FLOAT, 32)}
_MOST_PART_BYTES = 1 << 28
"""A strip or tile that unpacks to more would take as much memory as it shall spare."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TiffRows:
    """
    The first page of a TIFF file, ready to give any rows; by several threads at a time.

    Parameters
    ----------
    path : Path
        The file.
    page : tifffile.TiffPage
        What its tags say.
    shape : tuple of int
        (rows, columns) or (rows, columns, 3).
    largest : int or None
        Largest code that the file says there can be.
    """

    path: Path
    page: tifffile.TiffPage
    shape: tuple[int, ...]
    largest: int | None

    @property
    def kind(self) -> np.dtype[np.generic]:
        """Type of a sample: uint8, uint16 or float32."""
        return np.dtype(self.page.dtype)

    @property
    def step(self) -> int:
        """Rows of a tile or strip; reading whole ones unpacks nothing twice."""
        if self.page.is_contiguous:
            return 1
        return int(self.page.tilelength if self.page.is_tiled else self.page.rowsperstrip)

    def rows(self, first: int, last: int) -> Codes:
        """
        Read some rows.

        Parameters
        ----------
        first, last : int
            First row and one past the last, both inside.

        Returns
        -------
        ndarray of shape (rows, columns) or (rows, columns, 3)
            Codes, or floats, as they are stored.

        Raises
        ------
        RefusedImageError
            The file is damaged there.
        """
        try:
            with self.path.open("rb") as stream:
                if self.page.is_contiguous:
                    return self._mapped(stream, first, last)
                return self._unpacked(stream, first, last)
        except RefusedImageError:
            raise
        except Exception as error:  # a damaged part can make a decoder raise anything
            reason = " ".join(str(error).split()) or type(error).__name__
            msg = f"is cut short or damaged in rows {first} to {last} ({reason})"
            raise RefusedImageError(msg, "a whole TIFF file") from error

    def _mapped(self, stream: BinaryIO, first: int, last: int) -> Codes:
        kind = self.kind.newbyteorder(self.page.parent.byteorder)
        row_bytes = prod(self.shape[1:]) * kind.itemsize
        stream.seek(self.page.dataoffsets[0] + first * row_bytes)
        read = np.frombuffer(stream.read((last - first) * row_bytes), dtype=kind)
        return read.reshape(last - first, *self.shape[1:]).astype(self.kind, copy=False)

    def _unpacked(self, stream: BinaryIO, first: int, last: int) -> Codes:
        start, across = first // self.step, self.page.chunked[1]
        end = -(-last // self.step)
        out = np.zeros(((end - start) * self.step, *self.shape[1:]), dtype=self.kind)
        for index in range(start * across, end * across):
            self._place(stream, index, start * self.step, out)
        return out[first - start * self.step : last - start * self.step]

    def _place(self, stream: BinaryIO, index: int, top: int, out: Codes) -> None:
        """Unpack one tile or strip to where it lies."""
        stream.seek(self.page.dataoffsets[index])
        packed = stream.read(self.page.databytecounts[index])
        if self.page.compression == _LZW:
            check_lzw(packed)  # bad codes could crash the decoder
        part, place, size = self.page.decode(packed, index)
        if part is None:  # a part without bytes, which is refused when the file is opened
            return
        row, column = place[2] - top, place[3]
        # tiles at the right and lower ends are filled up
        high, wide = min(size[1], len(out) - row), min(size[2], out.shape[1] - column)
        part = part[0, :high, :wide].reshape(high, wide, *self.shape[2:])
        out[row : row + high, column : column + wide] = part


def tiff_rows(path: Path) -> TiffRows | None:
    """
    Open a TIFF file to be read by rows.

    Parameters
    ----------
    path : Path
        Any file.

    Returns
    -------
    TiffRows or None
        None for what is no TIFF file, or not a plain one: grey or RGB, 8 or 16 bit or 32-bit
        floats, opaque, upright, in strips or tiles of a moderate size.

    Raises
    ------
    RefusedImageError
        It is plain but cut short.
    """
    try:
        with tifffile.TiffFile(path) as tiff:
            page = tiff.pages.first
            if not _is_plain(page):
                return None
            largest = stated_largest(page)
    except (tifffile.TiffFileError, OSError, ValueError, IndexError, KeyError):
        return None  # the reader of whole images says what is wrong
    refuse_missing_parts(page, path.stat().st_size)
    return TiffRows(path=path, page=page, shape=tuple(page.shape), largest=largest)


def _is_plain(page: tifffile.TiffPage) -> bool:
    axes = {_BLACK_IS_ZERO: "YX", _RGB: "YXS"}.get(int(page.photometric))
    if page.axes != axes or page.samplesperpixel not in {1, 3}:
        return False
    if (page.sampleformat, page.bitspersample) not in _KINDS:
        return False
    is_upright = int(page.tags.valueof("Orientation", default=1)) == 1
    return is_upright and (page.is_contiguous or _part_bytes(page) <= _MOST_PART_BYTES)


def _part_bytes(page: tifffile.TiffPage) -> int:
    """Count what one row of tiles, or one strip, takes when unpacked."""
    rows = page.tilelength if page.is_tiled else page.rowsperstrip
    return int(min(rows, page.imagelength)) * prod(page.shape[1:]) * page.bitspersample // 8
