"""
PNG of every colour type and bit depth.

The chunks are walked here, so that a file cut anywhere is refused and nothing but pixels reaches
the decoder. Pillow, and imageio through it, would read 16-bit colour as 8 bit without a word.
Interlaced files are woven here too: libpng, as imagecodecs calls it, weaves them right but writes a
warning to stderr for each, and the other decoder there (spng) refuses 16 bit.

References
----------
ISO/IEC 15948 (PNG, third edition of the W3C), clauses 5 (structure), 8 (interlacing), 11 (chunks).
"""

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
from PIL import Image

from linesim.files.pixels import (
    PNG,
    Codes,
    Pixels,
    RefusedImageError,
    SizeCheck,
    is_srgb_profile,
    split_alpha,
)

MAX_SIDE = 1_000_000
"""The decoder's limit; it would tell of a longer side on stderr."""
_HEADER_BYTES = 33
_SAMPLES = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
_SRGB_GAMMA = range(45_000, 46_001)
_MAX_PROFILE_BYTES = 1 << 20
# First column, first row, step in columns, step in rows of the seven passes (clause 8.1).
_PASSES = (
    (0, 0, 8, 8),
    (4, 0, 8, 8),
    (0, 4, 4, 8),
    (2, 0, 4, 4),
    (0, 2, 2, 4),
    (1, 0, 2, 2),
    (0, 1, 1, 2),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    """The chunk IHDR."""

    columns: int
    rows: int
    depth: int
    colour_type: int
    interlaced: bool

    @property
    def row_bytes(self) -> int:
        """Bytes of a row behind its filter byte."""
        return -(-self.columns * self.depth * _SAMPLES[self.colour_type] // 8)

    def packed(self) -> bytes:
        """Give the header of a file that is not interlaced."""
        return struct.pack(">2I5B", self.columns, self.rows, self.depth, self.colour_type, 0, 0, 0)


def read_png(path: Path, check_size: SizeCheck) -> Pixels:
    """Read a PNG file."""
    with path.open("rb") as stream:
        header = _header(stream.read(_HEADER_BYTES))
        check_size(header.rows, header.columns)
        stream.seek(0)
        chunks = _chunks_by_name(stream.read())
    samples = _decode_interlaced(header, chunks) if header.interlaced else _decode(header, chunks)
    full_scale = np.iinfo(samples.dtype).max
    codes, alpha = split_alpha(samples, full_scale)
    if header.colour_type == 3 and _is_grey(chunks.get(b"PLTE", b"")):  # noqa: PLR2004 -- palette
        codes = codes[..., 0]
    return Pixels(
        codes=codes,
        full_scale=full_scale,
        alpha=alpha,
        orientation=_orientation(chunks.get(b"eXIf", b"")),
        foreign_profile=_is_foreign(chunks),
        cautions=("it is animated; the still image was used",) if b"acTL" in chunks else (),
    )


def _header(head: bytes) -> _Header:
    """Read the first chunk."""
    if len(head) < _HEADER_BYTES:
        raise _cut(len(head))
    length, name = struct.unpack(">I4s", head[8:16])
    columns, rows, depth, colour_type, _, _, interlaced = struct.unpack(">2I5B", head[16:29])
    if (length, name) != (13, b"IHDR") or colour_type not in _SAMPLES:
        msg = "is a damaged PNG file (its header makes no sense)"
        raise RefusedImageError(msg)
    if max(rows, columns) > MAX_SIDE:
        msg = f"is {rows} x {columns} pixels, more than {MAX_SIDE} on a side"
        raise RefusedImageError(msg, "a smaller PNG, or the same image as TIFF")
    return _Header(
        columns=columns,
        rows=rows,
        depth=depth,
        colour_type=colour_type,
        interlaced=bool(interlaced),
    )


def _cut(size: int) -> RefusedImageError:
    return RefusedImageError(f"is cut short (it ends after {size} bytes)", "a whole PNG file")


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Walk over the chunks up to the last one, checking length and checksum of each."""
    at = len(PNG)
    name = b""
    while name != b"IEND":
        if at + 12 > len(data):
            raise _cut(len(data))
        length, name = struct.unpack_from(">I4s", data, at)
        end = at + 12 + length
        if end > len(data):
            raise _cut(len(data))
        body = memoryview(data)[at + 4 : end - 4]
        if zlib.crc32(body) != int.from_bytes(data[end - 4 : end], "big"):
            msg = f"is damaged (wrong checksum at byte {at})"
            raise RefusedImageError(msg, "a whole PNG file")
        yield name, bytes(body[4:])
        at = end


def _chunks_by_name(data: bytes) -> dict[bytes, bytes]:
    """Join the pieces of the image data; of other chunks the last one counts."""
    chunks: dict[bytes, bytes] = {}
    pieces = []
    for name, body in _chunks(data):
        if name == b"IDAT":
            pieces.append(body)
        else:
            chunks[name] = body
    return chunks | {b"IDAT": b"".join(pieces)}


def _chunk(name: bytes, body: bytes) -> bytes:
    """Pack one chunk."""
    checksum = zlib.crc32(body, zlib.crc32(name))
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", checksum)


def _decode(header: _Header, chunks: dict[bytes, bytes]) -> Codes:
    """Decode from the chunks that hold pixels; others could make the decoder talk on stderr."""
    kept = [(name, chunks[name]) for name in (b"PLTE", b"tRNS", b"IDAT") if name in chunks]
    parts = [PNG, _chunk(b"IHDR", header.packed())]
    parts += [_chunk(name, body) for name, body in [*kept, (b"IEND", b"")]]
    samples: Codes = imagecodecs.png_decode(b"".join(parts))
    return samples


def _decode_interlaced(header: _Header, chunks: dict[bytes, bytes]) -> Codes:
    """Decode the seven passes, each an image of its own (clause 8), and weave them together."""
    parts = [(place, part) for place in _PASSES if (part := _pass(header, place)) is not None]
    most = sum(part.rows * (1 + part.row_bytes) for _, part in parts)
    # no more than the passes hold, however much was packed
    rest = zlib.decompressobj().decompress(chunks[b"IDAT"], max(most, 1))
    whole: np.ndarray[Any, np.dtype[Any]] | None = None
    for (column, row, column_step, row_step), part in parts:
        size = part.rows * (1 + part.row_bytes)
        packed = zlib.compress(rest[:size], level=0)
        rest = rest[size:]
        samples = _decode(part, chunks | {b"IDAT": packed})
        if whole is None:
            whole = np.zeros((header.rows, header.columns, *samples.shape[2:]), samples.dtype)
        whole[row::row_step, column::column_step] = samples
    if whole is None:
        raise _cut(0)
    return whole


def _pass(header: _Header, place: tuple[int, int, int, int]) -> _Header | None:
    """Describe the image of one pass; ``None`` where it has no pixels."""
    column, row, column_step, row_step = place
    columns = len(range(column, header.columns, column_step))
    rows = len(range(row, header.rows, row_step))
    return replace(header, columns=columns, rows=rows) if columns and rows else None


def _is_grey(palette: bytes) -> bool:
    """Say whether red, green and blue are the same in every entry of a palette."""
    return palette[0::3] == palette[1::3] == palette[2::3]


def _is_foreign(chunks: dict[bytes, bytes]) -> bool:
    """Say whether the file says that its colours are not sRGB (clause 11.3.2)."""
    if b"sRGB" in chunks:
        return False
    if b"iCCP" in chunks:
        packed = chunks[b"iCCP"].partition(b"\0")[2][1:]
        profile = zlib.decompressobj().decompress(packed, _MAX_PROFILE_BYTES)
        return not is_srgb_profile(profile)
    return b"gAMA" in chunks and int.from_bytes(chunks[b"gAMA"], "big") not in _SRGB_GAMMA


def _orientation(block: bytes) -> int:
    """Read the orientation from an Exif block."""
    exif = Image.Exif()
    exif.load(block)
    return int(exif.get(0x0112, 1))
