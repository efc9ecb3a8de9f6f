"""Reflectance as a colour: one number for all channels, or red, green and blue."""

import numpy as np

from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError

Colour = tuple[float, ...]
"""One number, or red, green and blue."""


def for_channels(colour: Colour, image: ImageArray) -> ImageArray:
    """
    Bring a colour to the channels of an image.

    Parameters
    ----------
    colour : tuple of float
        One number or three.
    image : ndarray of shape (rows, columns) or (rows, columns, 3)
        What it is for.

    Returns
    -------
    ndarray of float32
        Broadcasts against the image.
    """
    values = np.asarray(colour, dtype=np.float32)
    grey = image.ndim == 2 or len(colour) == 1  # noqa: PLR2004 -- rows and columns alone
    return np.asarray(values.mean(dtype=np.float32) if grey else values)


def kept_physical(wanted: ImageArray, image: ImageArray) -> ImageArray:
    """
    Keep reflectance between nothing and a perfect white.

    Parameters
    ----------
    wanted : ndarray
        New reflectance.
    image : ndarray
        Reflectance before, which may be above 1 where a target shines.

    Returns
    -------
    ndarray of float32
        Clipped.
    """
    limited: ImageArray = np.clip(wanted, np.float32(0), np.maximum(image, np.float32(1)))
    return limited


def need_colour(name: str, colour: Colour, *, low: float) -> None:
    """
    Refuse what is no colour.

    Parameters
    ----------
    name : str
        What it is, for the person who reads the refusal.
    colour : tuple of float
        One number or three.
    low : float
        No channel may have less.

    Raises
    ------
    InputError
        If there are other than one or three, or one is too small or no number.
    """
    if len(colour) in {1, 3} and all(np.isfinite(part) and part >= low for part in colour):
        return
    msg = f"{name}: read {colour}, expected one number or three, each {low:g} or more"
    raise InputError(msg)
