"""How light a target is: its median, its brightest part, and tiles of it to see its texture by."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.arrays import ImageArray
from linesim.targets.quantiles import at_most, quantiles

BRIGHT_SHARE = 0.999
"""Share of the target that is no brighter than what counts as its brightest part."""
_BANDS, _FEW, _BAND_ROWS, _WHOLE = 32, 8, 64, 4_000_000
TILE = 64
"""Side of a tile. [px]"""
_MOST_TILES = 256


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tiles:
    """Square pieces of a target; of a colour one the mean of the colours."""

    data: ImageArray  # shape (tiles, 64, 64); linear reflectance, as a share of white
    pixel_um: float  # side of a pixel on the target


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """How light a target is, as shares of white; one number, or red, green and blue."""

    product: tuple[float, ...] = (1.0,)  # its median
    brightest: tuple[float, ...] = (1.0,)  # its 99.9th percentile


def levels_of(reference: Reference) -> Levels:
    """Look how light a target is: all of it, or bands of rows of a large one."""
    values = np.concatenate([band.reshape(-1, *band.shape[2:]) for band in _bands(reference)])
    product, brightest = quantiles(values, (0.5, BRIGHT_SHARE))
    return Levels(
        product=tuple(np.atleast_1d(product).tolist()),
        brightest=tuple(np.atleast_1d(brightest).tolist()),
    )


def at_most_as_light(reference: Reference) -> Levels:
    """Give levels a little above its brightest part, in a tenth of the time."""
    parts = [
        part.reshape(*part.shape[:2], -1)
        for band in _bands(reference)
        for part in np.array_split(band, max(1, len(band) // _BAND_ROWS))
    ]
    colours = range(parts[0].shape[2])
    most = tuple(at_most([part[:, :, k] for part in parts], BRIGHT_SHARE) for k in colours)
    return Levels(product=most, brightest=most)


def few_bands(reference: Reference) -> Reference:
    """Take a few bands of a target whose rows are dear."""
    rows = reference.shape[0]
    if rows <= _FEW * _BAND_ROWS:
        return reference
    firsts = np.linspace(0, rows - _BAND_ROWS, _FEW).astype(int).tolist()
    data = np.concatenate([reference.rows(first, first + _BAND_ROWS) for first in firsts])
    return ArrayReference(data=data, pixel_size_um=reference.pixel_size_um)


def _bands(reference: Reference) -> Iterator[ImageArray]:
    """Give all rows of a small target, evenly laid bands of a large one."""
    rows, columns = reference.shape[:2]
    if rows * columns <= _WHOLE or rows <= _BANDS * _BAND_ROWS:
        yield reference.rows(0, rows)
        return
    for first in np.linspace(0, rows - _BAND_ROWS, _BANDS).astype(int).tolist():
        yield reference.rows(first, first + _BAND_ROWS)


def tiles_of(reference: Reference) -> Tiles:
    """Cut a target into tiles, evenly spread over it, at most some hundreds."""
    found = [tile for band in _bands(reference) for tile in _tiles(band)]
    picked = [tile.reshape(TILE, TILE, -1).mean(axis=2) for tile in found[:: _step(len(found))]]
    data = np.array(picked, dtype=np.float32).reshape(-1, TILE, TILE)
    return Tiles(data=data, pixel_um=reference.pixel_size_um)


def _step(count: int) -> int:
    return max(1, count // _MOST_TILES)


def _tiles(band: ImageArray) -> Iterator[ImageArray]:
    """Cut a band into square tiles; what is left over is dropped."""
    rows, columns = (size // TILE for size in band.shape[:2])
    for row, column in np.ndindex(rows, columns):
        yield band[row * TILE : (row + 1) * TILE, column * TILE : (column + 1) * TILE]
