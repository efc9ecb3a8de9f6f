"""Reading pictures with transparency: linear light and opacity, not laid on anything."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from linesim.files.images_in import read_pixels, refusals_named
from linesim.files.pixels import RefusedImageError, upright
from linesim.files.srgb import Encoding, linear_from_codes
from linesim.setup.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpaquePart:
    """A picture and its opacity."""

    value: FloatArray  # shape (rows, columns, 1); linear, 0 to 1
    alpha: FloatArray  # shape (rows, columns); opacity, 0 to 1


def read_opaque_part(path: Path, *, encoding: Encoding, key: str, max_pixels: int) -> OpaquePart:
    """Read a PNG or TIFF file with transparency."""
    pixels = read_pixels(path, key=key, max_pixels=max_pixels)
    if pixels.alpha is None or pixels.codes.dtype.kind == "f":
        with refusals_named(f'{key} "{path.name}"'):
            msg = "holds no transparency, or floats"
            expected = "8 or 16 bit with alpha: opaque on the fault, clear on good product"
            raise RefusedImageError(msg, expected)
    codes, opacity = (upright(each, pixels.orientation) for each in (pixels.codes, pixels.alpha))
    value = linear_from_codes(codes, pixels.full_scale, encoding).astype(np.float64)
    return OpaquePart(
        value=value.reshape(*opacity.shape, -1),
        alpha=opacity.astype(np.float64) / pixels.full_scale,
    )
