"""Waves over a target: their mean over each pixel."""

import numpy as np

from linesim.setup.arrays import FloatArray, ImageArray


def wave_means(phase: FloatArray | ImageArray, turn_px: FloatArray | float) -> ImageArray:
    """
    Average the cosine of a phase over pixels, along the way that it turns.

    Exact where the phase, that of the middle of each pixel, is straight over a pixel and turns
    along an axis; what bends within one is left out.
    """
    means: ImageArray = (np.cos(phase) * np.sinc(turn_px / (2 * np.pi))).astype(np.float32)
    return means
