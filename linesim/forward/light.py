"""The light: how much falls on the target, and how it is spread along the line."""

import numpy as np

from linesim.setup.arrays import FloatArray


def line_profile(position: FloatArray, edge_falloff: float) -> FloatArray:
    """Give the light along the line, which falls off as a parabola."""
    return np.asarray(1 - edge_falloff * position**2)
