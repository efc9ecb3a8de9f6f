"""Binning in the charge domain: wells clip, charge is summed, and the summing place clips too."""

import numpy as np

from linesim.setup.arrays import ImageArray


def join_charge(
    pixel_e: ImageArray, across: int, full_well_e: float, binned_full_well_e: float
) -> ImageArray:
    """
    Sum the charge of physical pixels into delivered ones.

    Parameters
    ----------
    pixel_e : ndarray of shape (rows, lines, columns)
        Electrons of each physical pixel; clipped in place. [e]
    across : int
        Columns joined.
    full_well_e, binned_full_well_e : float
        Capacity of a physical pixel, and of the place where charge is summed. [e]

    Returns
    -------
    ndarray of shape (lines, columns // across)
        Electrons. [e]
    """
    np.minimum(pixel_e, np.float32(full_well_e), out=pixel_e)
    rows, lines, columns = pixel_e.shape
    groups = pixel_e.reshape(rows, lines, columns // across, across)
    joined: ImageArray = groups.sum(axis=(0, 3), dtype=np.float32)
    return np.minimum(joined, np.float32(binned_full_well_e), out=joined)
