"""
A check of LZW data before they are decoded.

The decoder trusts its codes: one that points at a table entry which is not yet there makes it read
memory that nobody wrote, and may end the program. So damage is looked for here first.

References
----------
TIFF Revision 6.0 (1992), section 13: codes of 9 to 12 bits, most significant bit first, 256 clears
the table, 257 ends the strip, and the width grows one entry before it must.
"""

import numpy as np
from numpy.typing import NDArray

from linesim.files.pixels import RefusedImageError

_CLEAR, _END = 256, 257
_LAST_CODE = 4095

# The n-th code behind a clear (from 0) may name entries up to 257 + n, the one being made included.
_LIMIT = np.minimum(_END + np.arange(_LAST_CODE), _LAST_CODE)
_LIMIT[0] = _CLEAR - 1
# Before it is read, entries up to 256 + n exist; the width grows when entry 510, 1022, 2046 does.
_ENTRIES = _CLEAR + np.arange(_LAST_CODE)
_WIDTH = 9 + np.searchsorted((510, 1022, 2046), _ENTRIES, side="right")
_START = np.concatenate(([0], np.cumsum(_WIDTH)))


def check_lzw(data: bytes) -> None:
    """Make sure that every code of a strip or tile points at something."""
    padded = np.frombuffer(data + bytes(2), dtype=np.uint8)
    bit = 0
    while bit >= 0:
        bit = _next_table(padded, bit, len(data) * 8)


def _next_table(padded: NDArray[np.uint8], bit: int, bits: int) -> int:
    """Check the codes up to the next clear; give the bit behind it, -1 at the end."""
    count = int(np.searchsorted(_START[1:], bits - bit, side="right"))
    starts = bit + _START[:count]
    first = starts >> 3
    window = (
        padded[first].astype(np.int64) << 16
        | padded[first + 1].astype(np.int64) << 8
        | padded[first + 2]
    )
    codes = window >> (24 - (starts & 7) - _WIDTH[:count]) & (1 << _WIDTH[:count]) - 1
    stops = np.flatnonzero((codes == _CLEAR) | (codes == _END))
    kept = int(stops[0]) if stops.size else count
    overflow = not stops.size and count == _LAST_CODE
    if overflow or (codes[:kept] > _LIMIT[:kept]).any():
        msg = "is damaged (its LZW codes make no sense)"
        raise RefusedImageError(msg, "a whole TIFF file")
    if not stops.size or codes[kept] == _END:
        return -1
    return int(bit + _START[kept + 1])
