"""
Delivered scans and previews, written without loss, the same bytes every time.

Scans are not packed. On a synthetic 2000 x 4096 scan with shot noise (12 bit in 16) zlib level 1
with a predictor saved 45 %, but writing took over 25 times as long, reading over 10 times, and a
packed file cannot be mapped.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.files.atomic import atomic_path, write_bytes
from linesim.files.png_in import MAX_SIDE

_STRIP_BYTES = 1 << 20
_PNG_LEVEL = 1  # level 6 takes 5 to 8 times as long for 4 to 9 % less on noisy images
_GREY, _COLOUR = 2, 3


def write_tiff(
    path: Path | str,
    image: NDArray[np.uint8] | NDArray[np.uint16],
    *,
    full_scale_dn: int | None = None,
) -> None:
    """
    Write an image as uncompressed TIFF, BigTIFF where it needs more than 4 GB.

    Parameters
    ----------
    path : Path or str
        The final name.
    image : ndarray of uint8 or uint16, shape (rows, columns) or (rows, columns, 3)
        Samples as delivered; a 12-bit value stays as it is in its 16 bits.
    full_scale_dn : int, optional
        Largest sample that can be, which the file then states (MaxSampleValue, tag 281 of TIFF
        6.0); left out, it states none. [DN]

    Raises
    ------
    TypeError
        The samples are of another type.
    ValueError
        The image is of another shape or empty.
    InputError
        The file cannot be written.
    """
    _refuse_shape(image)
    # Imported here: the command line loads quicker without it.
    import tifffile  # noqa: PLC0415 -- quick --help

    row_bytes = image.nbytes // len(image)
    channels = 1 if image.ndim == _GREY else image.shape[2]
    values = (full_scale_dn or 0,) * channels
    scale = [] if full_scale_dn is None else [(281, "H", channels, values, True)]
    with atomic_path(path) as temporary:
        tifffile.imwrite(
            temporary,
            image,
            byteorder="<",
            photometric="rgb" if image.ndim == _COLOUR else "minisblack",
            rowsperstrip=max(1, _STRIP_BYTES // row_bytes),
            extratags=scale,
            metadata=None,
            software=False,  # no name, version or date: same samples, same bytes
        )


def write_png(
    path: Path | str, image: NDArray[np.uint8] | NDArray[np.uint16], *, as_scan: bool = False
) -> None:
    """
    Write an image as PNG, 8 or 16 bit.

    Parameters
    ----------
    path : Path or str
        The final name.
    image : ndarray of uint8 or uint16, shape (rows, columns) or (rows, columns, 3)
        Samples; no side over a million pixels.
    as_scan : bool
        Pack it as suits samples of a line camera and their masks: each line less the one before,
        and no search for repeats. On a noisy scan of 12 bit that takes half the time, at the same
        size.

    Raises
    ------
    TypeError
        The samples are of another type.
    ValueError
        The image is of another shape, empty or too long for PNG readers.
    InputError
        The file cannot be written.
    """
    _refuse_shape(image)
    if max(image.shape[:2]) > MAX_SIDE:
        msg = f"PNG readers take sides up to {MAX_SIDE} pixels, got shape {image.shape}"
        raise ValueError(msg)
    # Imported here: the command line loads quicker without it.
    import imagecodecs  # noqa: PLC0415 -- quick --help

    way: dict[str, Any] = {}
    if as_scan:
        kinds = imagecodecs.PNG
        way = {"filter": kinds.FILTER.UP, "strategy": kinds.STRATEGY.RLE}
    data = imagecodecs.png_encode(np.ascontiguousarray(image), level=_PNG_LEVEL, **way)
    write_bytes(path, bytes(data))


def _refuse_shape(image: NDArray[Any]) -> None:
    """Refuse what is no grey or RGB image of 8 or 16 bit."""
    if image.dtype not in (np.uint8, np.uint16):
        msg = f"an image to write must be uint8 or uint16, got {image.dtype}"
        raise TypeError(msg)
    grey_or_rgb = image.ndim == _GREY or (image.ndim == _COLOUR and image.shape[2] == _COLOUR)
    if not grey_or_rgb or image.size == 0:
        msg = f"an image to write must be (rows, columns) or (rows, columns, 3), got {image.shape}"
        raise ValueError(msg)
