"""The along matrix in tiles of a few lines, and its product with the reference."""

import numpy as np

from linesim.forward.across import Indices, brought_inside
from linesim.forward.reference import Reference
from linesim.forward.spread import Footprint
from linesim.forward.transport import LineTable
from linesim.setup.arrays import ImageArray

TILE_LINES = 4
SMALL_PRODUCT = 1_000_000
"""Multiplications up to which a matrix product need not copy its factors first (OpenBLAS)."""


def along_weights(
    feet: tuple[Footprint, ...], lines: LineTable, side_um: float, pitch_um: float
) -> tuple[Indices, ImageArray]:
    """
    Build the along matrix of some lines, each weight an exact area integral.

    Parameters
    ----------
    feet : tuple of Footprint
        One a lens term.
    lines : LineTable
        Whole tiles of four lines.
    side_um : float
        Rows of pixels that look at the same moment, along travel. [µm]
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


def one_band(seen: ImageArray, bands: ImageArray) -> ImageArray:
    """
    Bring a colour reference to what one channel sees of it.

    Parameters
    ----------
    seen : ndarray of shape (rows, columns) or (rows, columns, 3)
        Reflectance; without colours it is the same for every channel.
    bands : ndarray of shape (3,)
        Weight of red, green and blue.

    Returns
    -------
    ndarray of shape (rows, columns)
        Reflectance.
    """
    if seen.ndim == 2:  # noqa: PLR2004 -- rows and columns alone
        return seen
    return np.ascontiguousarray(seen @ bands)


def blurred_along(weights: ImageArray, seen: ImageArray, into: ImageArray) -> None:
    """
    Multiply one tile of the along matrix with reference rows, some columns at a time.

    Parameters
    ----------
    weights : ndarray of shape (terms, lines, rows)
        One tile.
    seen : ndarray of shape (rows, columns)
        Reference rows.
    into : ndarray of shape (terms, lines, columns)
        Filled.
    """
    terms, lines, rows = weights.shape
    stacked = weights.reshape(-1, rows)
    step = min(max(SMALL_PRODUCT // stacked.size // 64 * 64, 256), 1024)
    for first in range(0, seen.shape[1], step):
        chunk = slice(first, first + step)
        if terms == 1:  # the product goes where it belongs, with no copy
            np.matmul(stacked, seen[:, chunk], out=into[0, :, chunk])
        else:
            into[:, :, chunk] = (stacked @ seen[:, chunk]).reshape(terms, lines, -1)
