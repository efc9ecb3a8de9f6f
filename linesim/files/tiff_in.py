"""
TIFF and BigTIFF: bilevel, grey, palette and RGB, 1 to 16 bit or float, any usual compression.

References
----------
TIFF Revision 6.0 (1992), tags 258, 262, 273, 274, 279, 281, 320, 338, 339.
"""

import logging
from pathlib import Path
from typing import cast

import numpy as np
import tifffile

from linesim.files.lzw import check_lzw
from linesim.files.pixels import (
    Codes,
    Pixels,
    RefusedImageError,
    SizeCheck,
    is_srgb_profile,
    split_alpha,
)

# Faults are refused in sentences; without a handler, tifffile's notes would land on stderr.
logging.getLogger("tifffile").addHandler(logging.NullHandler())

_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _PALETTE, _INKS, _YCBCR = 0, 1, 2, 3, 5, 6
_COLOURS = {_WHITE_IS_ZERO: 1, _BLACK_IS_ZERO: 1, _RGB: 3, _PALETTE: 1, _YCBCR: 3}
_LZW, _JPEG = 5, 7
_MOST_SIGNIFICANT_FIRST = 1
# Packings of bare bits: none, fax, LZW, Deflate (two numbers), PackBits. Image codecs within TIFF
# have a depth of their own, and 1 bit is also what a file says that has lost the tag.
_BIT_PACKINGS = {1, 2, 3, 4, 5, 8, 32773, 32946}
_UINT, _INT, _FLOAT = 1, 2, 3
_KINDS = {_INT: "signed integers", 4: "values of no stated kind"}
_MAX_BITS = 16
_PREMULTIPLIED, _STRAIGHT = 1, 2
_PLAIN = "grey or RGB of 1 to 16 bit without a sign, or floats from 0 to 1"


def read_tiff(path: Path, check_size: SizeCheck) -> Pixels:
    """Read the first page of a TIFF file."""
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages.first
        check_size(page.imagelength, page.imagewidth)
        _refuse_colours(page)
        _refuse_numbers(page)
        refuse_missing_parts(page, path.stat().st_size)
        _refuse_bad_lzw(page)
        samples = page.asarray()
        samples = samples.view(np.uint8) if samples.dtype == np.bool_ else samples
        pages = len(tiff.pages)
    cautions = (f"it has {pages} pages; the first one was used",) if pages > 1 else ()
    return _pixels(page, samples, cautions)


def _refuse_colours(page: tifffile.TiffPage) -> None:
    """Refuse colours other than grey and RGB, and what is not flat."""
    if page.photometric == _INKS:
        msg = "holds CMYK colours"
        raise RefusedImageError(msg, "grey or RGB")
    if page.photometric not in _COLOURS or (
        page.photometric == _YCBCR and page.compression != _JPEG
    ):
        msg = f"holds colours of the kind {_name(page.photometric)}"
        raise RefusedImageError(msg, "grey or RGB")
    if page.axes not in {"YX", "YXS", "SYX"}:
        msg = f"is not one flat image (its axes are {page.axes})"
        raise RefusedImageError(msg, "a flat image")


def _refuse_numbers(page: tifffile.TiffPage) -> None:
    """Refuse numbers that are no codes or linear values."""
    if page.sampleformat not in {_UINT, _FLOAT}:
        msg = f"holds {_KINDS.get(page.sampleformat, 'complex numbers')}"
        raise RefusedImageError(msg, _PLAIN)
    if page.sampleformat == _UINT and not _is_short(page.bitspersample):
        msg = f"holds {page.bitspersample}-bit integers"
        raise RefusedImageError(msg, _PLAIN)
    if page.bitspersample == 1 and page.compression not in _BIT_PACKINGS:
        msg = f"says that it has 1 bit, which {_name(page.compression)} cannot hold"
        raise RefusedImageError(msg, _PLAIN)


def _name(photometric: object) -> str:
    return str(getattr(photometric, "name", photometric))


def _is_short(bits: object) -> bool:
    """Say whether all samples have the same number of bits, 16 or fewer."""
    return isinstance(bits, int) and bits <= _MAX_BITS


def refuse_missing_parts(page: tifffile.TiffPage, file_size: int) -> None:
    """Refuse a page whose strips or tiles are not all there; they would be read as black."""
    ends = [
        offset + count if offset and count else file_size + 1
        for offset, count in zip(page.dataoffsets, page.databytecounts, strict=False)
    ]
    # tifffile joins strips that follow each other, or one that is not packed, into one.
    parts = 1 if page.is_contiguous else int(np.prod(page.chunked))
    if len(ends) < parts or max(ends) > file_size:
        msg = f"is cut short (not all pixels lie within its {file_size} bytes)"
        raise RefusedImageError(msg, "a whole TIFF file")


def _refuse_bad_lzw(page: tifffile.TiffPage) -> None:
    """Refuse LZW data that could crash the decoder."""
    if page.compression != _LZW:
        return
    if page.fillorder != _MOST_SIGNIFICANT_FIRST:
        msg = "is packed by LZW with its bits in reverse order"
        raise RefusedImageError(msg, "the usual order of bits")
    for offset, count in zip(page.dataoffsets, page.databytecounts, strict=False):
        page.parent.filehandle.seek(offset)
        check_lzw(page.parent.filehandle.read(count))


def _pixels(page: tifffile.TiffPage, samples: Codes, cautions: tuple[str, ...]) -> Pixels:
    """Sort the samples into colour and opacity."""
    profile = cast("bytes", page.tags.valueof("InterColorProfile", default=b""))
    if page.axes == "SYX":
        samples = np.moveaxis(samples, 0, -1)
    full_scale = 1 if page.sampleformat == _FLOAT else 2**page.bitspersample - 1
    if page.sampleformat == _UINT and int(samples.max()) > full_scale:
        msg = f"holds the code {samples.max()}, but says that it has {page.bitspersample} bit"
        raise RefusedImageError(msg, f"codes up to {full_scale}")
    samples, notes = _without_extras(page, samples)
    codes, alpha = split_alpha(samples, full_scale)
    if alpha is not None and page.extrasamples[0] == _PREMULTIPLIED:
        msg = "has colours multiplied by their opacity"
        raise RefusedImageError(msg, "an image without transparency")
    if page.photometric == _WHITE_IS_ZERO:
        codes = np.asarray(full_scale - codes, dtype=codes.dtype)
    if page.photometric == _PALETTE:
        codes, full_scale = _looked_up(page, codes), 65535
    return Pixels(
        codes=codes,
        full_scale=full_scale,
        alpha=alpha,
        orientation=int(page.tags.valueof("Orientation", default=1)),
        foreign_profile=bool(profile) and not is_srgb_profile(bytes(profile)),
        cautions=cautions + notes,
        largest=stated_largest(page),
    )


def stated_largest(page: tifffile.TiffPage) -> int | None:
    """Read the tag MaxSampleValue, of which there is one a channel."""
    stated = page.tags.valueof("MaxSampleValue", default=None)
    values = np.atleast_1d(np.asarray(0 if stated is None else stated))
    return int(values.max()) if values.dtype.kind in "iu" and values.max() > 0 else None


def _without_extras(page: tifffile.TiffPage, samples: Codes) -> tuple[Codes, tuple[str, ...]]:
    """Keep the colour and, if the first further sample is declared so, its opacity."""
    wanted = _COLOURS[page.photometric]
    found = samples.shape[2] if samples.ndim > 2 else 1  # noqa: PLR2004 -- rows, columns, samples
    if found < wanted:
        msg = f"holds {found} samples a pixel, too few for its colours"
        raise RefusedImageError(msg, "grey or RGB")
    if found > wanted and page.extrasamples[:1] in {(_PREMULTIPLIED,), (_STRAIGHT,)}:
        wanted += 1
    if found == wanted:
        return samples, ()
    note = f"{found - wanted} of its {found} samples a pixel are not declared and were left out"
    return samples[..., :wanted], (note,)


def _looked_up(page: tifffile.TiffPage, indices: Codes) -> Codes:
    """Resolve a palette; its entries are 16 bit."""
    palette = np.asarray(page.colormap, dtype=np.uint16)
    if (palette == palette[0]).all():
        return cast("Codes", palette[0][indices])
    return np.ascontiguousarray(palette.T)[indices]
