"""
How many pixels of an image file lie in an inch, where its tags say so.

References
----------
TIFF 6.0 (1992), tags 282, 283 and 296. PNG (ISO/IEC 15948), chunk pHYs. JPEG File Interchange
Format 1.02, density of the APP0 marker, or the Exif tags of the same numbers as TIFF's.
"""

from pathlib import Path

import numpy as np
import tifffile
from PIL import JpegImagePlugin, PngImagePlugin

from linesim.files.pixels import PNG

_UNIT_INCHES = {2: 1.0, 3: 1 / 2.54}
"""Of TIFF's ResolutionUnit: inch and centimetre; 1 is a ratio of sides alone."""
_MOST_DPI = 1e6


def stated_dpi(path: Path | str) -> tuple[float, float] | None:
    """Read the dots an inch, across and down as stored, of an image file; None of no length."""
    with Path(path).open("rb") as stream:
        head = stream.read(len(PNG))
    try:
        if head.startswith((b"II", b"MM")):
            found = _of_tiff(Path(path))
        else:
            found = _of_plain(Path(path), is_png=head == PNG)
    except (OSError, SyntaxError, TypeError, ValueError):  # tags that are no numbers, for instance
        return None
    if found is None:
        return None
    across, down = (float(each) for each in found)
    return (across, down) if 0 < across < _MOST_DPI and 0 < down < _MOST_DPI else None


def _of_tiff(path: Path) -> tuple[float, float] | None:
    with tifffile.TiffFile(path) as tiff:
        tags = tiff.pages.first.tags
        unit = int(tags.valueof("ResolutionUnit", default=2))
        pair = [tags.valueof(name, default=None) for name in ("XResolution", "YResolution")]
    if None in pair or unit not in _UNIT_INCHES:
        return None
    across, down = (_ratio(each) / _UNIT_INCHES[unit] for each in pair)
    return across, down


def _ratio(value: object) -> float:
    """Read a fraction as TIFF keeps it."""
    pair = np.atleast_1d(np.asarray(value, dtype=np.float64)).ravel()
    return float(pair[0] / pair[1]) if pair.size > 1 and pair[1] else 0.0


def _of_plain(path: Path, *, is_png: bool) -> tuple[float, float] | None:
    """Read PNG and JPEG by Pillow's own classes, which leave the limit on the size to others."""
    plugin = PngImagePlugin.PngImageFile if is_png else JpegImagePlugin.JpegImageFile
    with path.open("rb") as stream:
        dpi = plugin(stream).info.get("dpi")
    return None if dpi is None else (dpi[0], dpi[1])
