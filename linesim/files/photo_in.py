"""A photograph or scan from a file: decoded and upright, with what its file states."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from linesim.files.images_in import decoded, read_pixels
from linesim.files.pixels import Codes, is_jpeg, upright
from linesim.files.resolution_in import stated_dpi
from linesim.files.srgb import Encoding
from linesim.setup.arrays import ImageArray

_ON_ITS_SIDE = range(5, 9)
_GREY = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo:
    """A photograph, decoded."""

    linear: ImageArray  # shape (rows, columns, channels); from 0 to 1
    codes: Codes  # shape (rows, columns); as the file holds them, upright
    full_scale: int  # code of white; 1 for floats
    dpi: tuple[float, float] | None
    is_jpeg: bool
    cautions: tuple[str, ...]


def read_photo(path: Path, key: str, encoding: Encoding) -> Photo:
    """Read a PNG, TIFF or JPEG file with its codes and its resolution."""
    pixels = read_pixels(path, key=key)
    loaded = decoded(pixels, encoding, f'{key} "{path}"')
    dpi = stated_dpi(path)
    return Photo(
        linear=loaded.data[..., np.newaxis] if loaded.data.ndim == _GREY else loaded.data,
        codes=upright(pixels.codes, pixels.orientation),
        full_scale=pixels.full_scale,
        dpi=dpi[::-1] if dpi and pixels.orientation in _ON_ITS_SIDE else dpi,
        is_jpeg=is_jpeg(path),
        cautions=loaded.cautions,
    )
