"""
Sampling: the scan is two banded matrices around the reference, S = Σ_k A_y · R · A_xᵀ.

Each weight is the exact area integral of a blurred pixel over one reference pixel. The along
product comes first, for it shrinks the work before the across product. Both run as dense tiles of
fixed size from line 0 and column 0, so the result does not depend on how the scan is cut.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.forward.reference import Reference
from linesim.forward.spread import Footprint
from linesim.forward.transport import LineTable
from linesim.setup.arrays import FloatArray, ImageArray

TILE_LINES = 4
TILE_COLUMNS = 32
SMALL_PRODUCT = 1_000_000
"""Multiplications up to which a matrix product need not copy its factors first (OpenBLAS)."""
Indices = NDArray[np.intp]


def brought_inside(index: Indices, size: int, *, repeat: bool) -> Indices:
    """
    Bring indices into the reference: around again, or to its border whose value goes on.

    Parameters
    ----------
    index : ndarray of int
        Any whole numbers.
    size : int
        Rows or columns of the reference.
    repeat : bool
        Whether the reference repeats.

    Returns
    -------
    ndarray of int
        From 0 to ``size`` − 1.
    """
    return index % size if repeat else np.clip(index, 0, size - 1)


@dataclass(frozen=True, slots=True, eq=False)
class AcrossTile:
    """
    Some delivered columns, and the reference columns they see.

    Parameters
    ----------
    first, last : int
        Delivered columns, ``last`` exclusive.
    columns : slice or ndarray of int
        Reference columns.
    weights : tuple of ndarray of shape (reference columns, delivered columns)
        One matrix a lens term.
    """

    first: int
    last: int
    columns: slice | Indices
    weights: tuple[ImageArray, ...]

    def scaled(self, profile: ImageArray) -> "AcrossTile":
        """Weigh each delivered column by its own factor."""
        factor = profile[self.first : self.last]
        weights = tuple(weight * factor for weight in self.weights)
        return AcrossTile(self.first, self.last, self.columns, weights)


def across_tiles(
    feet: tuple[Footprint, ...],
    scales: tuple[float, ...],
    left_um: FloatArray,
    side_um: float,
    reference: Reference,
    *,
    repeat: bool,
) -> tuple[AcrossTile, ...]:
    """
    Build the across matrix as tiles.

    Parameters
    ----------
    feet : tuple of Footprint
        One a lens term.
    scales : tuple of float
        Factor of each term.
    left_um : ndarray of shape (columns,)
        Left edge of each delivered pixel, from the left edge of the reference. [µm]
    side_um : float
        Delivered pixel across. [µm]
    reference : Reference
        The target.
    repeat : bool
        Whether it repeats.

    Returns
    -------
    tuple of AcrossTile
        From column 0 on, 32 columns each but for the last.
    """
    pitch_um, size = reference.pixel_size_um, reference.shape[1]
    tiles = []
    for first in range(0, len(left_um), TILE_COLUMNS):
        centre_um = left_um[first : first + TILE_COLUMNS] + side_um / 2
        low = int(np.floor((centre_um.min() - feet[0].reach_um) / pitch_um))
        high = int(np.ceil((centre_um.max() + feet[0].reach_um) / pitch_um))
        edges_um = np.arange(low, high + 1) * pitch_um
        weights = tuple(
            np.ascontiguousarray(
                scale * np.diff(foot.integral(edges_um - centre_um[:, None]), axis=1).T,
                dtype=np.float32,
            )
            for foot, scale in zip(feet, scales, strict=True)
        )
        within = low >= 0 and high <= size
        columns = (
            slice(low, high)
            if within
            else brought_inside(np.arange(low, high), size, repeat=repeat)
        )
        tiles.append(AcrossTile(first, first + len(centre_um), columns, weights))
    return tuple(tiles)


def along_weights(
    feet: tuple[Footprint, ...], lines: LineTable, side_um: float, pitch_um: float
) -> tuple[Indices, ImageArray]:
    """
    Build the along matrix of some lines, four lines a tile.

    Parameters
    ----------
    feet : tuple of Footprint
        One a lens term.
    lines : LineTable
        Whole tiles.
    side_um : float
        Delivered pixel along travel. [µm]
    pitch_um : float
        Side of a reference pixel. [µm]

    Returns
    -------
    low : ndarray of int, shape (tiles,)
        First reference row of each tile; may lie outside the reference.
    weights : ndarray of shape (tiles, terms, lines, rows)
        Share of each reference row in each line.
    """
    centre_um = (lines.start_um + side_um / 2).reshape(-1, TILE_LINES, 1)
    travel_um = lines.travel_um.reshape(-1, TILE_LINES, 1)
    reach_um = feet[0].reach_um
    low = np.floor((centre_um.min(axis=(1, 2)) - reach_um) / pitch_um).astype(np.intp)
    high = np.ceil(((centre_um + travel_um).max(axis=(1, 2)) + reach_um) / pitch_um)
    rows = int((high - low).max())
    edges_um = (low[:, None] + np.arange(rows + 1)) * pitch_um
    ahead_um = edges_um[:, None, :] - centre_um
    weights = [np.diff(foot.moving_integral(ahead_um, travel_um), axis=2) for foot in feet]
    return low, np.stack(weights, axis=1).astype(np.float32)


def seen_rows(reference: Reference, low: int, count: int, *, repeat: bool) -> ImageArray:
    """
    Fetch reference rows, also such as lie outside of it.

    Parameters
    ----------
    reference : Reference
        The target.
    low, count : int
        First row and number of rows.
    repeat : bool
        Whether the reference repeats.

    Returns
    -------
    ndarray of shape (count, columns) or (count, columns, 3)
        A view where all rows lie inside.
    """
    size = reference.shape[0]
    if low >= 0 and low + count <= size:
        return reference.rows(low, low + count)
    index = brought_inside(np.arange(low, low + count), size, repeat=repeat)
    first = int(index.min())
    return reference.rows(first, int(index.max()) + 1)[index - first]


@dataclass(frozen=True, slots=True, eq=False)
class Sampler:
    """
    Both matrices around one reference, ready to give any strip.

    Parameters
    ----------
    reference : Reference
        The target.
    repeat : bool
        Whether it repeats.
    bands : ndarray of shape (3,)
        What red, green and blue reflectance count in this channel.
    feet : tuple of Footprint
        Blurred pixel along travel, one a lens term.
    side_um : float
        Delivered pixel along travel. [µm]
    tiles : tuple of AcrossTile
        The across matrix.
    """

    reference: Reference
    repeat: bool
    bands: ImageArray
    feet: tuple[Footprint, ...]
    side_um: float
    tiles: tuple[AcrossTile, ...]

    def strip(self, lines: LineTable) -> ImageArray:
        """
        Sample some lines.

        Parameters
        ----------
        lines : LineTable
            One strip.

        Returns
        -------
        ndarray of shape (lines, columns)
            float32, in the unit of the across matrix.
        """
        count = -(-len(lines) // TILE_LINES) * TILE_LINES
        low, weights = along_weights(
            self.feet, lines.filled(count), self.side_um, self.reference.pixel_size_um
        )
        columns = self.reference.shape[1]
        blurred = np.empty((len(self.feet), count, columns), dtype=np.float32)
        for tile, first in enumerate(low):
            part = slice(tile * TILE_LINES, (tile + 1) * TILE_LINES)
            self._along(int(first), weights[tile], blurred[:, part])
        out = np.empty((count, self.tiles[-1].last), dtype=np.float32)
        for across in self.tiles:
            into = out[:, across.first : across.last]
            np.matmul(blurred[0][:, across.columns], across.weights[0], out=into)
            for k in range(1, len(across.weights)):
                into += blurred[k][:, across.columns] @ across.weights[k]
        return out[: len(lines)]

    def _along(self, low: int, weights: ImageArray, into: ImageArray) -> None:
        """Fill (terms, lines, columns) of one tile, some columns at a time."""
        terms, lines, rows = weights.shape
        stacked = weights.reshape(-1, rows)
        seen = seen_rows(self.reference, low, rows, repeat=self.repeat)
        if seen.ndim == 3:  # noqa: PLR2004 -- a colour reference has a third axis
            seen = seen @ self.bands
        step = int(np.clip(SMALL_PRODUCT // stacked.size // 64 * 64, 256, 1024))
        for first in range(0, seen.shape[1], step):
            chunk = slice(first, first + step)
            into[:, :, chunk] = (stacked @ seen[:, chunk]).reshape(terms, lines, -1)
