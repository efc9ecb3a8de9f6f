"""Pictures of faults, cut out: opacity, and value over the good product beside."""

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import numpy as np

from linesim.defects.cutouts import CutOut
from linesim.files.cutouts_in import OpaquePart, read_opaque_part
from linesim.files.srgb import Encoding, srgb_to_linear
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse

MOST_PIXELS = 1_000_000
"""Of a cut-out; its elements are laid one by one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How pictures are to be read."""

    encoding: Encoding
    pixel_size_um: float
    absolute: bool = False  # values are reflectances, not ratios to the product beside the fault
    # level of that product as a share of full scale, encoded as the picture is; left out: the
    # median of the clear pixels, of each colour
    surroundings: float | None = None


def cut_outs(
    key: str, paths: tuple[Path, ...], reading: Reading, faults: list[str]
) -> Iterator[CutOut]:
    """Read pictures; what is wrong with them is told, and they are left out."""
    for path in paths:
        try:
            yield _cut_out(key, path, reading)
        except InputError as refusal:
            faults.extend(
                each if each.startswith(key) else f'{key} "{path.name}" {each}'
                for each in refusal.faults
            )


def _cut_out(key: str, path: Path, reading: Reading) -> CutOut:
    part = read_opaque_part(path, encoding=reading.encoding, key=key, max_pixels=MOST_PIXELS)
    value = part.value if reading.absolute else part.value / _level(part, reading)
    said = f"{reading.pixel_size_um!r} {reading.absolute} {value.shape}".encode()
    digest = sha256(said + part.alpha.tobytes() + np.ascontiguousarray(value).tobytes())
    return CutOut(
        digest=digest.hexdigest(),
        pixel_size_um=reading.pixel_size_um,
        alpha=part.alpha,
        value=value,
    )


def _level(part: OpaquePart, reading: Reading) -> FloatArray:
    """Give the linear level of good product, of each colour."""
    colours = part.value.shape[2]
    if reading.surroundings is not None:
        stated = np.full(colours, reading.surroundings)
        return srgb_to_linear(stated) if reading.encoding == "srgb" else stated
    clear = part.value[part.alpha == 0]
    level = np.median(clear, axis=0) if len(clear) else np.zeros(colours)
    if not (level > 0).all():
        refuse(
            "shows no product beside the fault (its clear pixels are black, or there are none); "
            "expected surroundings = 0.5 or so: the level of good product as a share of full scale"
        )
    return np.asarray(level)
