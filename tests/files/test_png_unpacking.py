"""An interlaced PNG unpacks to what its passes hold, however much was packed into it."""

import struct
import tracemalloc
import zlib
from pathlib import Path

import numpy as np

from linesim.files.images_in import read_image

SIDE = 64
PACKED_MB = 64


def chunk(name: bytes, body: bytes) -> bytes:
    """Pack a chunk (ISO/IEC 15948, 5.3)."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def test_what_is_packed_beyond_the_passes_is_left(tmp_path: Path) -> None:
    """64 MB of zeros behind 64 x 64 pixels take no more memory than the pixels do."""
    head = struct.pack(">2I5B", SIDE, SIDE, 8, 0, 0, 0, 1)
    packed = zlib.compress(bytes(PACKED_MB << 20), 1)
    parts = [(b"IHDR", head), (b"IDAT", packed), (b"IEND", b"")]
    file = tmp_path / "bomb.png"
    file.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in parts))
    tracemalloc.start()
    try:
        found = read_image(file, encoding="linear")
        _, most_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    np.testing.assert_array_equal(found.data, np.zeros((SIDE, SIDE), dtype=np.float32))
    # the file itself is read a few times over, of which a thousandth is the packed zeros
    assert most_bytes < (PACKED_MB << 20) / 8
