"""
Binning: in the charge domain before the one conversion, or of numbers after one conversion each.

Charge: wells clip, charge is summed, and the summing place clips too. Digital: black is taken off
every number, they are summed or averaged, black is put back once, and the word clips.
"""

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import ImageArray


def join_charge(
    pixel_e: ImageArray, across: int, full_well_e: float, binned_full_well_e: float
) -> ImageArray:
    """Sum the charge of physical pixels into delivered ones."""
    np.minimum(pixel_e, np.float32(full_well_e), out=pixel_e)
    rows, lines, columns = pixel_e.shape
    if rows == across == 1:
        alone: ImageArray = np.minimum(pixel_e[0], np.float32(binned_full_well_e), out=pixel_e[0])
        return alone
    groups = pixel_e.reshape(rows, lines, columns // across, across)
    joined: ImageArray = groups.sum(axis=(0, 3), dtype=np.float32)
    return np.minimum(joined, np.float32(binned_full_well_e), out=joined)


def join_numbers(
    pixel_dn: NDArray[np.uint16], across: int, black_level_dn: float, *, average: bool
) -> ImageArray:
    """Sum or average the numbers of physical pixels, black counted once."""
    rows, lines, columns = pixel_dn.shape
    groups = pixel_dn.reshape(rows, lines, columns // across, across)
    joined: ImageArray = groups.sum(axis=(0, 3), dtype=np.int32).astype(np.float32)
    count = rows * across
    joined -= np.float32(count * black_level_dn)
    if average:
        joined /= np.float32(count)
    joined += np.float32(black_level_dn)
    return joined
