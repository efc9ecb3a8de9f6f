"""Find a PNG file that unpacks to far more than its pixels need, before a decoder works on it."""

import struct
import zlib
from collections.abc import Iterator

from linesim.files.pixels import PNG
from linesim.setup.errors import refuse

_PIECE = 1 << 20


def refuse_bomb(body: bytes, most_bytes: int, name: str) -> None:
    """Refuse a PNG file whose image data unpack to more than any image that is taken."""
    if body.startswith(PNG) and _is_more(_image_data(body), most_bytes):
        refuse(
            f'own image "{name}" unpacks to over {most_bytes / 1e6:.0f} MB, far more than an image '
            "that is taken here; expected a PNG, TIFF or JPEG image"
        )


def _image_data(body: bytes) -> Iterator[memoryview]:
    """Give the pieces of image data; checks are left to the reader."""
    at, whole = len(PNG), memoryview(body)
    while at + 8 <= len(body):
        length, name = struct.unpack_from(">I4s", body, at)
        if name == b"IDAT":
            yield whole[at + 8 : at + 8 + length]
        at += 12 + length


def _is_more(pieces: Iterator[memoryview], most_bytes: int) -> bool:
    """Unpack piece by piece, keep nothing, and stop where it is too much."""
    unpacker, found = zlib.decompressobj(), 0
    for piece in pieces:
        rest: bytes | memoryview = piece
        while rest and not unpacker.eof:
            try:
                found += len(unpacker.decompress(rest, _PIECE))
            except zlib.error:  # damaged: the reader says so
                return False
            if found > most_bytes:
                return True
            rest = unpacker.unconsumed_tail
    return False
