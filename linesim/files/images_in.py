"""
Reading images: any file in, linear light from 0 to 1 out, or one sentence why not.

The format is told by the first bytes, never by the ending. Each format has a reader of its own;
`imageio` is not one of them, for it takes 16-bit colour PNG for 8 bit and stops at 179 million
pixels.
"""

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from linesim import files
from linesim.files.pixels import (
    JPEG,
    PNG,
    TIFF,
    Codes,
    Pixels,
    RefusedImageError,
    SizeCheck,
    upright,
)
from linesim.files.srgb import Encoding, linear_from_codes
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError
from linesim.setup.infiles import existing_file

MAX_PIXELS = 1_000_000_000
MIN_SIDE = 2
EXPECTED = "a PNG, TIFF or JPEG image"
FOREIGN_PROFILE = "it has a colour profile other than sRGB; it was decoded as sRGB all the same"

_RAISED = {"target.image": "target.max_pixels"}
"""What lets a larger image in, by the key that named it."""
_HEAD_BYTES = 512
_UPRIGHT = range(1, 9)
_SIXTEEN_BIT = 65535
_FOURTEEN_BIT = 16383
_READERS = {PNG: "read_png", JPEG: "read_jpeg", **dict.fromkeys(TIFF, "read_tiff")}
_OTHERS = {
    b"GIF8": "a GIF image",
    b"BM": "a BMP image",
    b"\0\0\0\x0cjP  ": "a JPEG 2000 image",
    b"\xffO\xffQ": "a JPEG 2000 image",
    b"v/1\x01": "an OpenEXR image",
    b"%PDF": "a PDF document",
}
_OTHERS_AT = {
    (8, b"WEBP"): "a WebP image",
    (4, b"ftypavif"): "an AVIF image",
    (4, b"ftyphei"): "a HEIF image",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedImage:
    """An image in linear light."""

    data: ImageArray  # shape (rows, columns); linear values from 0 to 1
    cautions: tuple[str, ...]  # what was changed or looks odd, each a sentence that names the file


def read_image(
    path: Path | str,
    *,
    encoding: Encoding,
    key: str = "target.image",
    max_pixels: int = MAX_PIXELS,
    written: str | None = None,
) -> LoadedImage:
    """
    Read a PNG, TIFF or JPEG file to linear light.

    Grey, RGB, palette and bilevel, 1 to 16 bit; floats in TIFF are taken as linear and must lie in
    0 to 1. What is not opaque is laid on white in linear light, and the orientation tag is
    followed, each with a caution. Of several pages the first is read. Images with more than
    `max_pixels` are refused before decoding: one million pixels need 4 MB, in colour 12 MB, and
    about half as much again while decoding. `written` is the file's name as the user wrote it.
    """
    pixels = read_pixels(
        path, key=key, max_pixels=max_pixels, written=written, raised_by=_RAISED.get(key, "")
    )
    return decoded(pixels, encoding, f'{key} "{written or path}"')


def decoded(pixels: Pixels, encoding: Encoding, name: str) -> LoadedImage:
    """Bring an image that has been read to linear light."""
    with refusals_named(name):
        data = _linear(pixels, encoding)
    cautions = tuple(f"{name}: {text}." for text in _cautions(pixels, encoding))
    return LoadedImage(data=data, cautions=cautions)


def read_pixels(
    path: Path | str,
    *,
    key: str,
    max_pixels: int = MAX_PIXELS,
    written: str | None = None,
    raised_by: str = "",
) -> Pixels:
    """Read a file's codes as they are stored, whatever they stand for."""
    file = existing_file(path, key=key, expected=EXPECTED, written=written)
    with refusals_named(f'{key} "{written or path}"'):
        return _pixels(file, partial(_check_size, max_pixels, raised_by=raised_by))


@contextmanager
def refusals_named(name: str) -> Iterator[None]:
    """Make the refusal of an image a sentence that begins with the file's name."""
    try:
        yield
    except RefusedImageError as error:
        msg = f"{name} {error.read}; expected {error.expected or EXPECTED}"
        raise InputError(msg) from error


def _pixels(file: Path, check_size: SizeCheck) -> Pixels:
    """Find the reader for a file and keep its decoder's warnings and exceptions in."""
    with file.open("rb") as stream:
        reader = _reader(stream.read(_HEAD_BYTES))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return reader(file, check_size)
    except RefusedImageError:
        raise
    except MemoryError as error:
        msg = "does not fit into the memory of this machine"
        raise RefusedImageError(msg, "a smaller image") from error
    except Exception as error:  # a broken file can make a decoder raise anything
        reason = " ".join(str(error).split()) or type(error).__name__
        msg = f"is cut short or damaged ({reason})"
        raise RefusedImageError(msg, f"a whole file, {EXPECTED}") from error


def _reader(head: bytes) -> Callable[[Path, SizeCheck], Pixels]:
    """Tell the format by the first bytes."""
    for magic, name in _READERS.items():
        if head.startswith(magic):
            reader: Callable[[Path, SizeCheck], Pixels] = getattr(files, name)
            return reader
    msg = f"is {_what(head)}"
    raise RefusedImageError(msg)


def _what(head: bytes) -> str:
    """Name what is not read."""
    named = [what for magic, what in _OTHERS.items() if head.startswith(magic)]
    named += [what for (at, magic), what in _OTHERS_AT.items() if head[at:].startswith(magic)]
    if named:
        return named[0]
    is_text = not set(head) & set(bytes(range(9)))
    return "a text file, not an image" if is_text else "not an image of a known format"


def _check_size(max_pixels: int, rows: int, columns: int, *, raised_by: str) -> None:
    """Refuse by the header alone."""
    size = f"is {rows} x {columns} pixels (rows x columns)"
    if rows < MIN_SIDE or columns < MIN_SIDE:
        raise RefusedImageError(size, f"an image of at least {MIN_SIDE} x {MIN_SIDE}")
    if rows * columns > max_pixels:
        expected = f"no more than {max_pixels} in all; crop or shrink the image"
        if raised_by:
            gigabytes = rows * columns * 4 / 1e9
            expected += f", or raise {raised_by} if there is memory for it"
            expected += f" ({gigabytes:.3g} GB a channel)"
        raise RefusedImageError(size, expected)


def _linear(pixels: Pixels, encoding: Encoding) -> ImageArray:
    """Bring codes or floats to linear light, upright."""
    codes = upright(pixels.codes, pixels.orientation)
    alpha = None if pixels.alpha is None else upright(pixels.alpha, pixels.orientation)
    if codes.dtype.kind != "f":
        return linear_from_codes(codes, pixels.full_scale, encoding, alpha)
    if encoding != "linear":
        msg = f'holds floats, which are taken as linear, but its encoding is "{encoding}"'
        raise RefusedImageError(msg, 'encoding = "linear", or an image with integers')
    if alpha is not None:
        msg = "holds floats with transparency"
        raise RefusedImageError(msg, "an image without transparency")
    return linear_floats(codes)


def linear_floats(codes: Codes, where: str = "") -> ImageArray:
    """
    Take floats as linear light.

    Parameters
    ----------
    codes : ndarray of floats, shape (rows, columns) or (rows, columns, 3)
    """
    lowest, highest = float(codes.min()), float(codes.max())
    if not (lowest >= 0 and highest <= 1):  # also refuses NaN
        msg = f"holds floats from {lowest:g} to {highest:g}{where}"
        raise RefusedImageError(msg, "linear values from 0 (black) to 1 (white)")
    return np.ascontiguousarray(codes, dtype=np.float32)


def _cautions(pixels: Pixels, encoding: Encoding) -> list[str]:
    """Say what was changed and what looks odd."""
    found = list(pixels.cautions)
    if pixels.alpha is not None:
        found.append("it is partly transparent; it was laid on white")
    if pixels.orientation != 1 and pixels.orientation in _UPRIGHT:
        found.append(f"it was turned upright as its orientation tag ({pixels.orientation}) asks")
    if pixels.foreign_profile and encoding == "srgb":
        found.append(FOREIGN_PROFILE)
    if pixels.full_scale == _SIXTEEN_BIT:
        found += dark_cautions("its largest code", int(pixels.codes.max()))
    return found


def dark_cautions(what: str, highest: int) -> list[str]:
    """Say that 16-bit codes look as though they held fewer bits."""
    if not 0 < highest <= _FOURTEEN_BIT:
        return []
    text = (
        f"{what} is {highest} of {_SIXTEEN_BIT}; if it holds 10- to 14-bit data, scale them up to "
        "16 bit first, for they are read as dark"
    )
    return [text]
