"""Built-in targets as image files."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linesim.files.images_in import MAX_PIXELS
from linesim.files.images_out import write_png, write_tiff
from linesim.files.png_in import MAX_SIDE
from linesim.files.srgb import linear_to_srgb
from linesim.forward.reference import Reference
from linesim.setup.errors import InputError, refuse
from linesim.setup.quantity import parse_quantity
from linesim.setup.shown import shown
from linesim.targets.catalogue import BUILT_INS, make

_SIXTEEN_BIT = 65535
_BLOCK_ROWS = 1024
_EXAMPLES = {"um": '"20 um"', "mm": '"40 mm"', "deg": '"5 deg"'}


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetRequest:
    """A target as asked for on the command line; what is left out takes the target's own value."""

    name: str  # one of the built-in names
    # quantities with their unit
    pixel_size: str | None = None
    width: str | None = None
    height: str | None = None
    angle: str | None = None
    contrast: float | None = None  # light to dark, edge only

    def number(self, key: str, unit: str) -> float | None:
        """Read one quantity in a unit; InputError where it is none."""
        text = getattr(self, key)
        if text is None:
            return None
        try:
            return parse_quantity(text, unit)
        except ValueError as fault:
            option = key.replace("_", "-")
            example = _EXAMPLES[unit]
            msg = (
                f"--{option}: read {shown(text)}, but {fault}; expected a number with its unit, "
                f"for example {example}"
            )
            raise InputError(msg) from None


def target_lines() -> list[str]:
    """List the built-in targets."""
    return [
        f"{entry.name:<7}{entry.width_mm:g} x {entry.height_mm:g} mm, {entry.pixel_size_um:g} um "
        f"a pixel. {entry.sentence}"
        for entry in BUILT_INS
    ]


def _drawn(request: TargetRequest) -> Reference:
    """Draw; what the catalogue calls by the keys of a setup has other names on the command line."""
    try:
        return make(
            request.name,
            pixel_size_um=request.number("pixel_size", "um"),
            width_mm=request.number("width", "mm"),
            height_mm=request.number("height", "mm"),
            angle_deg=request.number("angle", "deg"),
            contrast=request.contrast,
        )
    except InputError as refusal:
        raise InputError(*map(_in_options, refusal.faults)) from None


def _in_options(fault: str) -> str:
    named = fault.replace("target.image:", "target:")
    return re.sub(r"target\.(\w+)", lambda key: f"--{key[1].replace('_', '-')}", named)


def _refuse_size(shape: tuple[int, ...], path: Path) -> None:
    rows, columns = shape[:2]
    read = f"--width, --height, --pixel-size: they make {rows} x {columns} pixels (rows x columns)"
    if rows * columns > MAX_PIXELS:
        refuse(f"{read}; expected at most {MAX_PIXELS} in all, which is what a setup reads")
    if path.suffix.lower() == ".png" and max(rows, columns) > MAX_SIDE:
        refuse(f"{read}; expected at most {MAX_SIDE} a side in a PNG, or a name that ends in .tif")


def _codes(drawn: Reference) -> NDArray[np.uint16]:
    """Encode by blocks, so that only the codes are held whole."""
    codes = np.empty(drawn.shape, dtype=np.uint16)
    for first in range(0, len(codes), _BLOCK_ROWS):
        block = codes[first : first + _BLOCK_ROWS]
        linear = drawn.rows(first, first + len(block))
        block[:] = np.rint(_SIXTEEN_BIT * linear_to_srgb(linear))
    return codes


def write_target(request: TargetRequest, path: Path) -> str:
    """Draw a target and write it."""
    drawn = _drawn(request)
    kind = path.suffix.lower()
    if kind not in {".png", ".tif", ".tiff"}:
        refuse(f'--out: read "{path}"; expected a name that ends in .png, .tif or .tiff')
    _refuse_size(drawn.shape, path)
    if kind == ".png":
        write_png(path, _codes(drawn))
    else:
        write_tiff(path, _codes(drawn))
    return (
        f'wrote {path.as_posix()}; in a setup: image = "{path.name}", '
        f'pixel_size = "{drawn.pixel_size_um:g} um"'
    )
