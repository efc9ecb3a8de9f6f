"""What the readers of single formats give."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

SizeCheck = Callable[[int, int], None]
"""Called with rows and columns as soon as a header is read, before anything is decoded."""

Codes = NDArray[Any]

PNG = b"\x89PNG\r\n\x1a\n"
JPEG = b"\xff\xd8\xff"
TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
"""What files begin with."""


def is_jpeg(path: Path) -> bool:
    """Tell a JPEG file by its first bytes."""
    with path.open("rb") as stream:
        return stream.read(len(JPEG)) == JPEG


class RefusedImageError(Exception):
    """A file that cannot be used as an image: what was read ends a sentence on the file."""

    def __init__(self, read: str, expected: str = "") -> None:
        super().__init__(read)
        self.read = read
        self.expected = expected


@dataclass(frozen=True, slots=True, kw_only=True)
class Pixels:
    """An image as its file holds it, not yet decoded to linear light."""

    codes: Codes  # shape (rows, columns) or (rows, columns, 3); codes as uint8 or uint16, or floats
    full_scale: int  # the code of white; 1 for floats
    # shape (rows, columns); opacity on the same scale, where any pixel is not opaque
    alpha: Codes | None = None
    orientation: int = 1  # 1 to 8, as the tag Orientation of TIFF 6.0 and Exif counts them
    foreign_profile: bool = False  # the file says that its colours are not sRGB
    cautions: tuple[str, ...] = ()  # what the user should know
    # largest code that the file says there can be; no scale of its white
    largest: int | None = None


def split_alpha(samples: Codes, opaque: int) -> tuple[Codes, Codes | None]:
    """Part colour from opacity."""
    count = samples.shape[2] if samples.ndim > 2 else 1  # noqa: PLR2004 -- rows, columns, samples
    if samples.ndim == 2:  # noqa: PLR2004 -- the same
        return samples, None
    has_alpha = count % 2 == 0
    colour = samples[..., : count - has_alpha]
    alpha = samples[..., -1] if has_alpha and (samples[..., -1] != opaque).any() else None
    return (colour[..., 0] if colour.shape[2] == 1 else colour), alpha


def is_srgb_profile(profile: bytes) -> bool:
    """Say whether an ICC profile calls itself sRGB."""
    return b"sRGB" in profile or "sRGB".encode("utf-16-be") in profile


def upright(image: Codes, orientation: int) -> Codes:
    """Turn an image as its orientation tag asks: TIFF 6.0 (1992), tag 274."""
    turned = np.swapaxes(image, 0, 1) if orientation in {5, 6, 7, 8} else image
    upside_down = orientation in {3, 4, 7, 8}
    mirrored = orientation in {2, 3, 6, 7}
    return turned[:: -1 if upside_down else 1, :: -1 if mirrored else 1]
