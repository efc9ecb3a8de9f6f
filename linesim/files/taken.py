"""
What an image file says of how it was taken: its exposure time.

References
----------
Exif 2.32 (CIPA DC-008-2019), tag 33434 ExposureTime, in seconds, in the Exif directory (tag 34665);
TIFF/EP has it in the first directory too. From memory.
"""

import struct
from contextlib import suppress
from pathlib import Path

import tifffile
from PIL import Image, UnidentifiedImageError

from linesim.files.pixels import TIFF

_EXIF, _EXPOSURE = 34665, 33434
_FAULTY = (
    OSError,
    ValueError,
    TypeError,
    LookupError,
    ZeroDivisionError,
    struct.error,
    UnidentifiedImageError,
)
"""What a damaged file raises on its way."""


def exposure_us(path: Path) -> float | None:
    """Read the exposure time [µs] that an image file states; None where it states none."""
    with suppress(*_FAULTY):
        with path.open("rb") as file:
            is_tiff = file.read(4) in TIFF
        seconds = _of_tiff(path) if is_tiff else _of_image(path)
        if seconds is not None and seconds > 0:
            return 1e6 * seconds
    return None


def _of_tiff(path: Path) -> float | None:
    with tifffile.TiffFile(path) as tiff:
        tags = tiff.pages.first.tags
        exif = tags[_EXIF].value if _EXIF in tags else {}
        value = exif.get("ExposureTime") if isinstance(exif, dict) else None
        if value is None and _EXPOSURE in tags:
            value = tags[_EXPOSURE].value
    if isinstance(value, tuple):
        return float(value[0]) / float(value[1])
    return None if value is None else float(value)


def _of_image(path: Path) -> float | None:
    with Image.open(path) as image:
        exif = image.getexif()
        value = exif.get_ifd(_EXIF).get(_EXPOSURE, exif.get(_EXPOSURE))
    return None if value is None else float(value)
