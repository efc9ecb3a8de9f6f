"""Means over squares of samples, and the whole numbers that carry them to the page."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.arrays import ImageArray

_CODE_BITS = 16
_ROWS = 256


def averaged(image: NDArray[Any], join: int) -> ImageArray:
    """Take the mean over squares; those at the far ends hold what is left, and no more."""
    if join == 1:
        return np.asarray(image, dtype=np.float32)
    return _means(_means(image, join, 0), join, 1)


def _means(values: NDArray[Any], join: int, axis: int) -> ImageArray:
    """Take means along one axis; sums of some tens of numbers of 16 bits are exact in float32."""
    whole = values.shape[axis] // join
    head, rest = np.split(values, [whole * join], axis=axis)
    shape = (*head.shape[:axis], whole, join, *head.shape[axis + 1 :])
    parts = [head.reshape(shape).sum(axis=axis + 1, dtype=np.float32) / np.float32(join)]
    if rest.shape[axis]:
        parts.append(rest.mean(axis=axis, dtype=np.float32, keepdims=True))
    return np.asarray(np.concatenate(parts, axis=axis), dtype=np.float32)


def codes_per_dn(bit_depth: int, join: int) -> int:
    """Tell into how many steps a number is parted, so that a mean keeps what it can of its own."""
    return 1 if join == 1 else 1 << (_CODE_BITS - bit_depth)


def coded(image: NDArray[np.uint16], join: int, bit_depth: int) -> NDArray[np.uint16]:
    """Average numbers, and write them as steps of their parts."""
    if join == 1:
        return image
    steps = codes_per_dn(bit_depth, join)
    return np.asarray(np.rint(averaged(image, join) * np.float32(steps)), dtype=np.uint16)


def coarser(reference: Reference, side: int) -> ArrayReference:
    """Average squares of a reference; the last ones, where little is left, stand for a whole."""
    rows, at_once = reference.shape[0], side * max(1, _ROWS // side)
    parts = [
        averaged(reference.rows(first, min(first + at_once, rows)), side)
        for first in range(0, rows, at_once)
    ]
    return ArrayReference(data=np.concatenate(parts), pixel_size_um=side * reference.pixel_size_um)
