"""Waves over a target: their mean over each pixel."""

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray


def wave_means(phase: FloatArray | ImageArray, turn_px: FloatArray | float) -> ImageArray:
    """
    Average the cosine of a phase over pixels, along the way that it turns.

    Exact where the phase is straight over a pixel and turns along an axis; what bends within one
    is left out.

    Parameters
    ----------
    phase : ndarray; in the middle of each pixel [rad]
    turn_px : float, or ndarray; how much it turns from one pixel to the next [rad]
    """
    means: ImageArray = (np.cos(phase) * np.sinc(turn_px / (2 * np.pi))).astype(np.float32)
    return means
