"""A target in a TIFF file larger than is sensible to hold, read a few rows at a time."""

import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from math import ceil, prod
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from linesim import files
from linesim.files.images_in import (
    FOREIGN_PROFILE,
    MIN_SIDE,
    dark_cautions,
    linear_floats,
    refusals_named,
)
from linesim.files.srgb import Encoding, linear_from_codes
from linesim.setup.arrays import ImageArray

if TYPE_CHECKING:  # loads tifffile
    from linesim.files.tiff_rows import TiffRows

LEAST_PIXELS = 100_000_000
"""A file of so many pixels, 0.4 GB a channel in linear light, is read by rows if it can be."""
_BLOCK_BYTES = 1 << 24
"""Of linear light that is read, decoded and kept at a time."""
_PLACES_TRIED = 24
"""Places, spread over the file, whose codes are looked at beforehand."""
_FLOAT_BYTES = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindowedReference:
    """A target that is read where the camera looks, and not held."""

    shape: tuple[int, ...]
    pixel_size_um: float
    block_rows: int
    block: Callable[[int], ImageArray]
    cautions: tuple[str, ...]

    def rows(self, first: int, last: int) -> ImageArray:
        """Give some rows."""
        out = np.empty((last - first, *self.shape[1:]), dtype=np.float32)
        for k in range(first // self.block_rows, -(-last // self.block_rows)):
            top = k * self.block_rows
            low, high = max(first, top), min(last, top + self.block_rows)
            out[low - first : high - first] = self.block(k)[low - top : high - top]
        return out


def held_bytes(reference: WindowedReference) -> int:
    """Tell what the blocks that are kept take."""
    blocks = min(_kept(), ceil(reference.shape[0] / reference.block_rows))
    return blocks * reference.block_rows * prod(reference.shape[1:]) * _FLOAT_BYTES


def windowed(
    path: Path, name: str, *, encoding: Encoding, pixel_size_um: float
) -> WindowedReference | None:
    """Open a target to be read by rows."""
    with refusals_named(name):
        source = files.rows_of_tiff(path)
    if source is None or min(source.shape[:2]) < MIN_SIDE:
        return None
    if source.shape[0] * source.shape[1] < LEAST_PIXELS:
        return None
    if source.kind.kind == "f" and encoding != "linear":
        return None
    row_bytes = prod(source.shape[1:]) * _FLOAT_BYTES
    # whole rows of tiles or strips, so that none is unpacked twice
    block_rows = max(1, _BLOCK_BYTES // row_bytes // source.step) * source.step
    decoded = partial(_decoded, source, name, encoding, block_rows)
    return WindowedReference(
        shape=source.shape,
        pixel_size_um=pixel_size_um,
        block_rows=block_rows,
        block=lru_cache(maxsize=_kept())(decoded),
        cautions=tuple(f"{name}: {text}." for text in _cautions(source, name, encoding)),
    )


def _kept() -> int:
    """Count blocks to keep: each thread looks at two or three, colours at other places."""
    return 8 + 4 * (os.cpu_count() or 1)


def _decoded(
    source: "TiffRows", name: str, encoding: Encoding, block_rows: int, k: int
) -> ImageArray:
    """Read and decode one block."""
    first, last = k * block_rows, min((k + 1) * block_rows, source.shape[0])
    with refusals_named(name):
        codes = source.rows(first, last)
        if codes.dtype.kind != "f":
            return linear_from_codes(codes, int(np.iinfo(codes.dtype).max), encoding)
        return linear_floats(codes, f" in rows {first} to {last}")


def _cautions(source: "TiffRows", name: str, encoding: Encoding) -> list[str]:
    """Say what looks odd, as the reader of whole images does."""
    found = []
    if source.pages > 1:
        found.append(f"it has {source.pages} pages; the first one was used")
    if source.foreign_profile and encoding == "srgb":
        found.append(FOREIGN_PROFILE)
    if source.kind != np.uint16:
        return found
    last = source.shape[0] - 1
    places = np.unique(np.linspace(0, last, _PLACES_TRIED).astype(int) // source.step * source.step)
    with refusals_named(name):
        highest = max(
            int(source.rows(k, min(k + source.step, last + 1)).max()) for k in places.tolist()
        )
    return found + dark_cautions(f"the largest code at {len(places)} places", highest)
