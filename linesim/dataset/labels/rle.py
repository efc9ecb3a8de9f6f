"""
Run lengths of masks, as the COCO data format has them: columns first, zeros first, as text.

References
----------
"Data format" of the COCO data set (from memory): counts run down the columns and begin with zeros.
The text holds each count, from the third on less the count two before, in groups of 5 bits, the
lowest first, one printable character each: 48 plus the bits, plus 32 where more follow; the sign is
bit 16 of the last group. The tests read it with pycocotools.
"""

from collections.abc import Iterator, Sequence
from itertools import chain

import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
_FIRST_SIGN = 48
_BITS, _MORE, _SIGN = 5, 32, 16
_PLAIN = 2  # counts up to the third one stand as they are


def runs(mask: Mask) -> list[int]:
    """Count runs down the columns."""
    flat = np.asarray(mask, dtype=np.int8).ravel(order="F")
    edges = np.flatnonzero(np.diff(flat, prepend=0))
    return [int(each) for each in np.diff(edges, prepend=0, append=flat.size)]


def placed_runs(part: Mask, place: tuple[int, int], shape: tuple[int, int]) -> list[int]:
    """Count the runs of a small mask that lies in a large one."""
    (line, column), (lines, columns) = place, shape
    band = np.zeros((lines, part.shape[1]), dtype=np.bool_)
    band[line : line + part.shape[0]] = part
    inner = runs(band)
    inner[0] += column * lines
    after = (columns - column - part.shape[1]) * lines
    if len(inner) % 2:
        inner[-1] += after
    elif after:
        inner.append(after)
    return inner


def text_of(counts: Sequence[int]) -> str:
    """Write counts as COCO's text."""
    before = (0,) * (_PLAIN + 1) + tuple(counts[1:-_PLAIN])
    return "".join(
        chain.from_iterable(_signs(now - old) for now, old in zip(counts, before, strict=False))
    )


def _signs(number: int) -> Iterator[str]:
    while True:
        bits = number & (_MORE - 1)
        number >>= _BITS
        done = number == (-1 if bits & _SIGN else 0)
        yield chr(_FIRST_SIGN + bits + (0 if done else _MORE))
        if done:
            return


def counts_of(text: str) -> list[int]:
    """Read COCO's text."""
    counts: list[int] = []
    number, shift = 0, 0
    for sign in text:
        bits = ord(sign) - _FIRST_SIGN
        number |= (bits & (_MORE - 1)) << shift
        shift += _BITS
        if bits & _MORE:
            continue
        if bits & _SIGN:
            number -= 1 << shift
        counts.append(number + (counts[-_PLAIN] if len(counts) > _PLAIN else 0))
        number, shift = 0, 0
    return counts


def mask_of(text: str, shape: tuple[int, int]) -> Mask:
    """Draw a mask from COCO's text."""
    counts = counts_of(text)
    flat = np.repeat(np.arange(len(counts)) % 2 == 1, counts)
    return flat.reshape(shape, order="F")
