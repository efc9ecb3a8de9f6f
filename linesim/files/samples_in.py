"""
Reading images that are measured: samples as the camera delivered them, never decoded.

A digital number is a level of light above the black level, so nothing here asks what the codes look
like on a screen: no transfer curve, no scaling. What a file cannot tell is how many of its 16 bits
the camera used; the user says so, or the smallest usual depth that holds the samples is taken.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linesim.files.images_in import MAX_PIXELS, read_pixels, refusals_named
from linesim.files.pixels import Pixels, RefusedImageError, is_jpeg, upright
from linesim.setup.arguments import refuse_other
from linesim.setup.errors import refuse

USUAL_BITS = (10, 12, 14, 16)
"""Depths in which cameras deliver samples of more than 8 bit."""
_RAISED = "--max-pixels"
_MOST_BITS = 16
_TURNS = 8
_INTEGERS = "integer samples of up to 16 bit, as the camera delivered them"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Samples:
    """An image as delivered."""

    image_dn: NDArray[np.uint16]  # shape (lines, width); samples, unchanged [DN]
    full_scale_dn: int  # largest sample that can be [DN]
    bit_depth: int
    # who says so, such as "as stated" or "smallest usual depth that holds the samples"
    depth_from: str
    cautions: tuple[str, ...]  # what looks odd, each a sentence that names the file


def read_samples(
    path: Path | str, *, bit_depth: int | None = None, max_pixels: int | None = None
) -> tuple[NDArray[np.uint16], int]:
    """Read the samples of a PNG, TIFF or JPEG file as they are, and the largest that can be."""
    found = load_samples(path, bit_depth=bit_depth, max_pixels=max_pixels)
    return found.image_dn, found.full_scale_dn


def load_samples(
    path: Path | str,
    *,
    bit_depth: int | None = None,
    key: str = "image",
    max_pixels: int | None = None,
) -> Samples:
    """
    Read the samples of a PNG, TIFF or JPEG file as they are, and say how their depth is known.

    A file of up to 8 bit, or one that states another depth than 16, tells its own; so does a TIFF
    file whose tag MaxSampleValue is the end of a scale, as in a scan of linesim. Else in 16 bits
    lie samples of any depth: `bit_depth`, or the smallest of 10, 12, 14 and 16 bit that holds the
    largest of them. Samples that are all multiples of 4, 16 or 64 and need 16 bit were shifted up;
    they stay as they are, and full scale is the largest such multiple. Images with more than
    `max_pixels`, 10⁹ where left out, are refused by their header: one million pixels need 4 MB, in
    colour 12 MB, and what the measurement takes.
    """
    name = f'{key} "{path}"'
    pixels = read_pixels(path, key=key, max_pixels=max_pixels or MAX_PIXELS, raised_by=_RAISED)
    with refusals_named(name):
        _refuse_no_samples(pixels)
        image = upright(pixels.codes, pixels.orientation).astype(np.uint16)
        found = _samples(image, _stored_scale(pixels), bit_depth)
    notes = [*pixels.cautions, *_file_cautions(path, pixels), *found.cautions]
    return replace(found, cautions=tuple(f"{name}: {text}." for text in notes))


def samples_of(
    image: NDArray[np.generic], *, bit_depth: int | None = None, key: str = "image"
) -> Samples:
    """
    Take an array as samples, with the rules of `load_samples` for their depth.

    Parameters
    ----------
    image : ndarray of uint8 or uint16, shape (lines, width) or (lines, width, 3); as delivered
    """
    refuse_other(image, np.ndarray, key, "a file's name, or an array of uint8 or uint16 samples")
    if np.ma.is_masked(image):
        refuse(f"{key}: an array with masked samples read; expected samples without a mask")
    if image.dtype not in (np.uint8, np.uint16) or image.size == 0 or not _is_picture(image.shape):
        refuse(
            f"{key}: an array of {image.dtype} and shape {image.shape} read; expected uint8 or "
            "uint16 samples of shape (lines, width) or (lines, width, 3)"
        )
    with refusals_named(f"{key}: an array that"):
        found = _samples(image.astype(np.uint16), np.iinfo(image.dtype.name).max, bit_depth)
    return replace(found, cautions=tuple(f"{key}: {text}." for text in found.cautions))


def _is_picture(shape: tuple[int, ...]) -> bool:
    return len(shape) == 2 or (len(shape) == 3 and shape[2] == 3)  # noqa: PLR2004 -- grey or RGB


def _samples(image_dn: NDArray[np.uint16], stored_dn: int, stated: int | None) -> Samples:
    """Put samples and their scale together."""
    bits, full_scale, source = _scale(image_dn, stored_dn, stated)
    is_shifted = full_scale >= 1 << bits
    note = (
        f"its samples are shifted up by {_MOST_BITS - bits} bits; they were taken as they are, "
        f"with full scale at {full_scale} DN"
    )
    return Samples(
        image_dn=image_dn,
        full_scale_dn=full_scale,
        bit_depth=bits,
        depth_from=source,
        cautions=(note,) if is_shifted else (),
    )


def _refuse_no_samples(pixels: Pixels) -> None:
    """Refuse what no camera delivers."""
    if pixels.codes.dtype.kind == "f":
        msg = "holds floats"
        raise RefusedImageError(msg, _INTEGERS)
    if pixels.alpha is not None:
        msg = "is partly transparent"
        raise RefusedImageError(msg, "an opaque image")


def _stored_scale(pixels: Pixels) -> int:
    """Largest sample that the file can hold, or says that it holds; a power of two less 1. [DN]."""
    largest = pixels.largest or pixels.full_scale
    whole = largest < pixels.full_scale and largest & (largest + 1) == 0
    return largest if whole and int(pixels.codes.max()) <= largest else pixels.full_scale


def _scale(
    image_dn: NDArray[np.uint16], stored_dn: int, stated: int | None
) -> tuple[int, int, str]:
    """Find bits, full scale and who says so."""
    highest, held = int(image_dn.max()), stored_dn.bit_length()
    if stated is not None and not 1 <= stated <= held:
        msg = f"is said to have {stated} bit, but holds samples of {held}"
        raise RefusedImageError(msg, f"a depth of 1 to {held} bit")
    if stated is not None:
        if highest >= 1 << stated:
            msg = f"holds the sample {highest} DN, but {stated} bit end at {(1 << stated) - 1} DN"
            raise RefusedImageError(msg, "the depth that the camera delivered")
        return stated, (1 << stated) - 1, "as stated"
    if held < _MOST_BITS:
        return held, stored_dn, "as the file says"
    shift = _shift(image_dn)
    if shift:
        bits = _MOST_BITS - shift
        return bits, ((1 << bits) - 1) << shift, "the low bits that no sample uses"
    bits = next(each for each in USUAL_BITS if highest < 1 << each)
    return bits, (1 << bits) - 1, "smallest usual depth that holds the samples"


def _shift(image_dn: NDArray[np.uint16]) -> int:
    """Count the low bits that no sample uses, where the samples need 16 bit for no other reason."""
    used = int(np.bitwise_or.reduce(image_dn, axis=None))
    free = (used & -used).bit_length() - 1 if used else 0
    shift = next((_MOST_BITS - bits for bits in USUAL_BITS if _MOST_BITS - bits <= free), 0)
    return shift if used >= 1 << USUAL_BITS[-2] else 0


def _file_cautions(path: Path | str, pixels: Pixels) -> list[str]:
    """Say what looks odd about a file."""
    found = []
    if 1 < pixels.orientation <= _TURNS:
        found.append(
            f"it was turned upright as its orientation tag ({pixels.orientation}) asks; the first "
            "axis must be the direction of travel"
        )
    if is_jpeg(Path(path)):
        found.append(
            "JPEG packs with loss and its codes follow a display curve; noise and levels are not "
            "those of the camera"
        )
    return found
