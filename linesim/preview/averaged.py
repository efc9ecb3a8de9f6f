"""Means over squares of samples, and the whole numbers that carry them to the page."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import ImageArray

_CODE_BITS = 16


def averaged(image: NDArray[Any], join: int) -> ImageArray:
    """Take the mean over squares; those at the far ends hold what is left, and no more."""
    if join == 1:
        return np.asarray(image, dtype=np.float32)
    starts = [np.arange(0, size, join) for size in image.shape[:2]]
    # sums of whole numbers of 16 bits are exact; those of electrons keep seven digits
    sums = np.asarray(image, dtype=np.float64)
    for axis, start in enumerate(starts):
        sums = np.add.reduceat(sums, start, axis=axis)
    rows, columns = (
        np.diff(np.append(start, size)) for start, size in zip(starts, image.shape[:2], strict=True)
    )
    return np.asarray(sums / (rows[:, None] * columns)[..., None], dtype=np.float32)


def codes_per_dn(bit_depth: int, join: int) -> int:
    """Tell into how many steps a number is parted, so that a mean keeps what it can of its own."""
    return 1 if join == 1 else 1 << (_CODE_BITS - bit_depth)


def coded(image: NDArray[np.uint16], join: int, bit_depth: int) -> NDArray[np.uint16]:
    """Average numbers, and write them as steps of their parts."""
    if join == 1:
        return image
    steps = codes_per_dn(bit_depth, join)
    return np.asarray(np.rint(averaged(image, join) * np.float32(steps)), dtype=np.uint16)
