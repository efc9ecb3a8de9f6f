"""The light: how much falls on the target, and how it is spread along the line."""

import numpy as np

from linesim.setup.arrays import FloatArray


def line_profile(position: FloatArray, edge_falloff: float) -> FloatArray:
    """
    Give the light along the line, which falls off as a parabola.

    Parameters
    ----------
    position : ndarray of shape (n,)
        Place along the line, −1 at one end, 0 in the middle, 1 at the other.
    edge_falloff : float
        Fraction of the light lost at the ends.

    Returns
    -------
    ndarray of shape (n,)
        Share of the light in the middle.
    """
    return np.asarray(1 - edge_falloff * position**2)
