"""
Delivered scans and previews, written without loss, the same bytes every time.

Scans are not packed. On a synthetic 2000 x 4096 scan with shot noise (12 bit in 16) zlib level 1
with a predictor saved 45 %, but writing took over 25 times as long, reading over 10 times, and a
packed file cannot be mapped.
"""

from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import tifffile
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
    image : ndarray of uint8 or uint16, shape (rows, columns) or (rows, columns, 3)
        Samples as delivered; a 12-bit value stays as it is in its 16 bits.
    full_scale_dn : int, optional
        Largest sample that can be, which the file then states (MaxSampleValue, tag 281 of TIFF
        6.0). [DN]
    """
    _refuse_shape(image)
    with atomic_path(path) as temporary:
        lay_out_tiff(temporary, image.shape, image.dtype, full_scale_dn=full_scale_dn, data=image)


def lay_out_tiff(
    path: Path,
    shape: tuple[int, ...],
    kind: np.dtype[Any],
    *,
    full_scale_dn: int | None = None,
    data: NDArray[Any] | None = None,
) -> int:
    """
    Make an uncompressed TIFF file at once, with its samples or with room for them.

    Parameters
    ----------
    data : ndarray, optional; the samples; left out: room for them

    Returns
    -------
    int; where in the file the first sample lies, in bytes; the others follow, little endian
    """
    channels = 1 if len(shape) == _GREY else shape[2]
    row_bytes = kind.itemsize * shape[1] * channels
    values = (full_scale_dn or 0,) * channels
    place = tifffile.imwrite(
        path,
        data,
        shape=shape,
        dtype=kind,
        byteorder="<",
        photometric="rgb" if len(shape) == _COLOUR else "minisblack",
        rowsperstrip=max(1, _STRIP_BYTES // row_bytes),
        extratags=[] if full_scale_dn is None else [(281, "H", channels, values, True)],
        metadata=None,
        software=False,  # no name, version or date: same samples, same bytes
        returnoffset=True,
    )
    # samples that are there lie in one piece, and so does the room for them
    return place[0] if place else 0


def write_png(
    path: Path | str, image: NDArray[np.uint8] | NDArray[np.uint16], *, as_scan: bool = False
) -> None:
    """
    Write an image as PNG, 8 or 16 bit.

    Parameters
    ----------
    image : ndarray of uint8 or uint16, shape (rows, columns) or (rows, columns, 3)
        Samples; no side over a million pixels.
    as_scan : bool
        Pack it as suits samples of a line camera and their masks: each line less the one before,
        and no search for repeats. On a noisy scan of 12 bit that takes half the time, at the same
        size.
    """
    _refuse_shape(image)
    if max(image.shape[:2]) > MAX_SIDE:
        msg = f"PNG readers take sides up to {MAX_SIDE} pixels, got shape {image.shape}"
        raise ValueError(msg)
    packing: dict[str, Any] = {}
    if as_scan:
        kinds = imagecodecs.PNG
        packing = {"filter": kinds.FILTER.UP, "strategy": kinds.STRATEGY.RLE}
    data = imagecodecs.png_encode(np.ascontiguousarray(image), level=_PNG_LEVEL, **packing)
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
