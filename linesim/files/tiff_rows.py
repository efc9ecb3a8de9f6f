"""
TIFF files by rows: a few at a time, so that an image larger than memory can be worked with.

Samples that lie unpacked in one piece are read where they lie, not mapped (`tifffile.memmap`): a
map of a file that somebody cuts short ends the program. Of packed ones tifffile unpacks single
tiles or strips, which are put together here; by itself it gives whole pages only. Only plain images
are read this way; all others are read whole.
"""

import os
import warnings
from dataclasses import dataclass
from math import prod
from pathlib import Path
from typing import BinaryIO

import numpy as np
import tifffile

from linesim.files.lzw import check_lzw
from linesim.files.pixels import Codes, RefusedImageError, is_srgb_profile
from linesim.files.tiff_in import refuse_missing_parts, stated_largest

_BLACK_IS_ZERO, _RGB = 1, 2
_NOT_PACKED, _LZW, _JPEGS = 1, 5, {6, 7}
_UINT, _FLOAT = 1, 3
_KINDS = {(_UINT, 8), (_UINT, 16), (_FLOAT, 32)}
_MOST_PART_BYTES = 1 << 25
"""A row of tiles, or a strip, that unpacks to more would take the memory that shall be spared."""
_Print = tuple[int, int, int]
"""What tells a file from another under its name: number on the disk, size, time of change."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TiffRows:
    """The first page of a TIFF file, ready to give any rows; by several threads at a time."""

    path: Path
    page: tifffile.TiffPage
    shape: tuple[int, ...]  # (rows, columns) or (rows, columns, 3)
    largest: int | None  # largest code that the file says there can be
    pages: int  # pages of the file, of which the first is read
    foreign_profile: bool  # the file says that its colours are not sRGB
    seen: _Print  # what told the file when it was opened; another one under its name is not read

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
        """Read codes or floats from one row to the one before another, as they are stored."""
        try:
            with self.path.open("rb") as stream:
                self._refuse_another(stream)
                if self.page.is_contiguous:
                    return self._as_it_lies(stream, first, last)
                return self._unpacked(stream, first, last)
        except RefusedImageError:
            raise
        except FileNotFoundError as error:
            msg = "is no longer there"
            raise RefusedImageError(msg, "a file that stays as it is") from error
        except Exception as error:  # a damaged part can make a decoder raise anything
            reason = " ".join(str(error).split()) or type(error).__name__
            msg = f"is cut short or damaged in rows {first} to {last} ({reason})"
            raise RefusedImageError(msg, "a whole TIFF file") from error

    def _refuse_another(self, stream: BinaryIO) -> None:
        """Refuse what has taken the file's place."""
        if _print_of(os.fstat(stream.fileno())) != self.seen:
            msg = "was changed while it was read"
            raise RefusedImageError(msg, "a file that stays as it is")

    def _as_it_lies(self, stream: BinaryIO, first: int, last: int) -> Codes:
        kind = self.kind.newbyteorder(self.page.parent.byteorder)
        row_bytes = prod(self.shape[1:]) * kind.itemsize
        stream.seek(self.page.dataoffsets[0] + first * row_bytes)
        read = np.fromfile(stream, kind, (last - first) * prod(self.shape[1:]))
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


def rows_of_tiff(path: Path) -> TiffRows | None:
    """
    Open a TIFF file to be read by rows; None for what is no TIFF file, or not a plain one.

    Plain is grey or RGB, 8 or 16 bit or 32-bit floats, opaque, upright, in strips or tiles of a
    moderate size.
    """
    try:
        with warnings.catch_warnings(), tifffile.TiffFile(path) as tiff:
            warnings.simplefilter("ignore")
            page = tiff.pages.first
            if not _is_plain(page):
                return None
            refuse_missing_parts(page, path.stat().st_size)
            _refuse_short(page, path.stat().st_size)
            profile = page.tags.valueof("InterColorProfile", default=b"")
            return TiffRows(
                path=path,
                page=page,
                shape=tuple(page.shape),
                largest=stated_largest(page),
                pages=len(tiff.pages),
                foreign_profile=bool(profile) and not is_srgb_profile(bytes(profile)),
                seen=_print_of(path.stat()),
            )
    except RefusedImageError:
        raise
    except Exception:  # noqa: BLE001 -- a damaged head can make a parser raise anything
        return None  # the reader of whole images says what is wrong


def _refuse_short(page: tifffile.TiffPage, file_size: int) -> None:
    """Refuse samples in one piece that is shorter than they are."""
    needed = prod(page.shape) * page.bitspersample // 8
    if page.is_contiguous and page.dataoffsets[0] + needed > file_size:
        msg = f"is cut short (not all pixels lie within its {file_size} bytes)"
        raise RefusedImageError(msg, "a whole TIFF file")


def _print_of(stat: os.stat_result) -> _Print:
    return stat.st_ino, stat.st_size, stat.st_mtime_ns


def _is_plain(page: tifffile.TiffPage) -> bool:
    """Tell whether samples are as they lie there, or unpack to it without a further thought."""
    samples = {_BLACK_IS_ZERO: ("YX", 1), _RGB: ("YXS", 3)}.get(int(page.photometric))
    is_sized = all(isinstance(side, int) for side in page.shape)  # a damaged tag may hold words
    if not is_sized or (page.axes, page.samplesperpixel) != samples or page.compression in _JPEGS:
        return False
    if (page.sampleformat, page.bitspersample) not in _KINDS or page.fillorder != 1:
        return False
    if page.compression == _NOT_PACKED and page.predictor != 1:
        return False  # readers differ on what it means there
    is_upright = int(page.tags.valueof("Orientation", default=1)) == 1
    return is_upright and (page.is_contiguous or _part_bytes(page) <= _MOST_PART_BYTES)


def _part_bytes(page: tifffile.TiffPage) -> int:
    """Count what one row of tiles, or one strip, takes when unpacked."""
    rows = page.tilelength if page.is_tiled else page.rowsperstrip
    return int(min(rows, page.imagelength)) * prod(page.shape[1:]) * page.bitspersample // 8
