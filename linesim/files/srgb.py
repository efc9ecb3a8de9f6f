"""
From codes to linear light.

References
----------
IEC 61966-2-1:1999 with Amendment 1, sRGB: the piecewise curve (thresholds 0.04045 and 0.0031308).
"""

from typing import Literal

import numpy as np

from linesim.files.pixels import Codes
from linesim.setup.arrays import FloatArray, ImageArray

Encoding = Literal["srgb", "linear"]

_TOE_END = 0.04045
_BLOCK = 1 << 20


def srgb_to_linear(encoded: FloatArray) -> FloatArray:
    """
    Decode sRGB values to linear light.

    Parameters
    ----------
    encoded : ndarray; values from 0 to 1, encoded as sRGB
    """
    return np.where(encoded <= _TOE_END, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: FloatArray | ImageArray) -> FloatArray:
    """
    Encode linear light as sRGB.

    Parameters
    ----------
    linear : ndarray; linear values from 0 to 1
    """
    bent = 1.055 * np.power(linear, 1 / 2.4) - 0.055
    return np.where(linear <= _TOE_END / 12.92, 12.92 * linear, bent)


def linear_from_codes(
    codes: Codes, full_scale: int, encoding: Encoding, alpha: Codes | None = None
) -> ImageArray:
    """
    Decode integer codes by a table with one entry a code, and lay what is not opaque on white.

    Parameters
    ----------
    codes : ndarray of uint8 or uint16, shape (rows, columns) or (rows, columns, 3); none too large
    alpha : ndarray of shape (rows, columns), optional; opacity from 0 to full scale, always linear

    Returns
    -------
    ndarray of float32, shape of ``codes``; linear values from 0 to 1, in C order
    """
    scale = np.arange(full_scale + 1, dtype=np.float64) / full_scale
    linear = srgb_to_linear(scale) if encoding == "srgb" else scale
    table = linear.astype(np.float32)
    image = np.empty(codes.shape, dtype=np.float32)
    # In blocks of about a million: numpy widens an index array to 8 bytes an element.
    rows = max(1, _BLOCK // max(1, codes[0].size))
    for first in range(0, len(codes), rows):
        block = slice(first, first + rows)
        image[block] = table[codes[block]]
        if alpha is not None:
            opacity = scale.astype(np.float32)[alpha[block]]
            opacity = opacity if codes.ndim == alpha.ndim else opacity[..., np.newaxis]
            image[block] = 1 + opacity * (image[block] - 1)
    return image
