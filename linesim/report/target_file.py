"""Built-in targets as image files."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from linesim.files.images_out import write_png, write_tiff
from linesim.files.srgb import linear_to_srgb
from linesim.setup.errors import InputError
from linesim.setup.quantity import parse_quantity
from linesim.targets.catalogue import BUILT_INS, make

_SIXTEEN_BIT = 65535


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetWish:
    """
    A target as asked for on the command line; what is left out takes the target's own value.

    Parameters
    ----------
    name : str
        One of the built-in names.
    pixel_size, width, height, angle : str or None
        Quantities with their unit.
    contrast : float or None
        Light to dark, edge only.
    """

    name: str
    pixel_size: str | None = None
    width: str | None = None
    height: str | None = None
    angle: str | None = None
    contrast: float | None = None

    def number(self, key: str, unit: str) -> float | None:
        """Read one quantity in a unit; InputError where it is none."""
        text = getattr(self, key)
        if text is None:
            return None
        try:
            return parse_quantity(text, unit)
        except ValueError as fault:
            option = key.replace("_", "-")
            msg = f'--{option}: read "{text}", but {fault}; expected is a number with a unit'
            raise InputError(msg) from None


def target_lines() -> list[str]:
    """
    List the built-in targets.

    Returns
    -------
    list of str
        A line each.
    """
    return [
        f"{entry.name:<7}{entry.width_mm:g} x {entry.height_mm:g} mm, {entry.pixel_size_um:g} um "
        f"a pixel. {entry.sentence}"
        for entry in BUILT_INS
    ]


def write_target(wish: TargetWish, path: Path) -> str:
    """
    Draw a target and write it.

    Parameters
    ----------
    wish : TargetWish
        Which one, and how large.
    path : pathlib.Path
        PNG or TIFF file.

    Returns
    -------
    str
        What was written, for the console.

    Raises
    ------
    InputError
        Where the wish or the file name is refused.
    """
    drawn = make(
        wish.name,
        pixel_size_um=wish.number("pixel_size", "um"),
        width_mm=wish.number("width", "mm"),
        height_mm=wish.number("height", "mm"),
        angle_deg=wish.number("angle", "deg"),
        contrast=wish.contrast,
    )
    writers = {".png": write_png, ".tif": write_tiff, ".tiff": write_tiff}
    if path.suffix.lower() not in writers:
        msg = f"--out: read {path}, but expected is a name that ends in .png, .tif or .tiff"
        raise InputError(msg)
    linear = drawn.rows(0, drawn.shape[0])
    codes = np.rint(_SIXTEEN_BIT * linear_to_srgb(linear)).astype(np.uint16)
    writers[path.suffix.lower()](path, codes)
    return (
        f'wrote {path.as_posix()}; in a setup: image = "{path.name}", '
        f'pixel_size = "{drawn.pixel_size_um:g} um"'
    )
