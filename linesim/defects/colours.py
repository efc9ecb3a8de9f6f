"""Reflectance as a colour: one number for all channels, or red, green and blue."""

import numpy as np

from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError

Colour = tuple[float, ...]
"""One number, or red, green and blue."""


def for_channels(colour: Colour, image: ImageArray) -> ImageArray:
    """Bring a colour to the channels of an image."""
    values = np.asarray(colour, dtype=np.float32)
    grey = image.ndim == 2 or len(colour) == 1  # noqa: PLR2004 -- rows and columns alone
    return np.asarray(values.mean(dtype=np.float32) if grey else values)


def kept_physical(wanted: ImageArray, image: ImageArray) -> ImageArray:
    """Keep reflectance between nothing and a perfect white."""
    limited: ImageArray = np.clip(wanted, np.float32(0), np.maximum(image, np.float32(1)))
    return limited


def need_colour(name: str, colour: Colour, *, low: float) -> None:
    """Refuse what is no colour."""
    if len(colour) in {1, 3} and all(np.isfinite(part) and part >= low for part in colour):
        return
    msg = f"{name}: read {colour}, expected one number or three, each {low:g} or more"
    raise InputError(msg)
