"""The across matrix in tiles: some delivered columns, and the reference columns that they see."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.forward.reference import Reference
from linesim.forward.spread import Footprint
from linesim.setup.arrays import FloatArray, ImageArray

TILE_COLUMNS = 32
PHASES = 8
"""Steps in a reference pixel by which a line that wanders is shifted; off by 1/16 at most."""
Indices = NDArray[np.intp]
Columns = slice | Indices


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


def seen_columns(low: int, count: int, size: int, *, repeat: bool) -> Columns:
    """
    Name reference columns, also such as lie outside of it.

    Parameters
    ----------
    low, count : int
        First column and number of columns.
    size : int
        Columns of the reference.
    repeat : bool
        Whether it repeats.

    Returns
    -------
    slice or ndarray of int
        A slice where all lie inside.
    """
    if low >= 0 and low + count <= size:
        return slice(low, low + count)
    return brought_inside(np.arange(low, low + count), size, repeat=repeat)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AcrossTile:
    """
    Some delivered columns, and the reference columns they see.

    Parameters
    ----------
    first, last : int
        Delivered columns, ``last`` exclusive.
    low, count : int
        First reference column, may lie outside, and how many.
    middle_um : float
        Middle of the tile from the optical axis, on the target. [µm]
    phases : tuple of tuple of ndarray of shape (count, last − first)
        One matrix a lens term; one set of them for each shift by a part of a reference pixel.
    """

    first: int
    last: int
    low: int
    count: int
    middle_um: float
    phases: tuple[tuple[ImageArray, ...], ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AcrossPlan:
    """
    What the across matrix is built of.

    Parameters
    ----------
    feet : tuple of Footprint
        Blurred pixel across, one a lens term.
    scales : tuple of float
        Factor of each term.
    left_um : ndarray of shape (columns,)
        Left edge of each delivered pixel, from the left edge of the reference. [µm]
    side_um : float
        Delivered pixel across. [µm]
    profile : ndarray of shape (columns,)
        Factor of each column.
    """

    feet: tuple[Footprint, ...]
    scales: tuple[float, ...]
    left_um: FloatArray
    side_um: float
    profile: ImageArray


def across_tiles(
    plan: AcrossPlan, reference: Reference, *, columns: int = TILE_COLUMNS, phases: int = 1
) -> tuple[AcrossTile, ...]:
    """
    Build the across matrix as tiles, each weight an exact area integral.

    Parameters
    ----------
    plan : AcrossPlan
        Pixels and their blur.
    reference : Reference
        The target.
    columns : int
        Delivered columns in a tile.
    phases : int
        Shifts by parts of a reference pixel that are prepared.

    Returns
    -------
    tuple of AcrossTile
        From column 0 on; the last may be narrower.
    """
    return tuple(
        _tile(plan, reference, slice(first, first + columns), phases)
        for first in range(0, len(plan.left_um), columns)
    )


def _tile(plan: AcrossPlan, reference: Reference, part: slice, phases: int) -> AcrossTile:
    pitch_um, reach_um = reference.pixel_size_um, plan.feet[0].reach_um
    centre_um = plan.left_um[part] + plan.side_um / 2
    # a column sees so many reference columns, whichever it starts with
    seen = int(np.ceil(2 * reach_um / pitch_um)) + 1
    shifted_um = [centre_um + phase / phases * pitch_um for phase in range(phases)]
    firsts = [np.floor((each - reach_um) / pitch_um).astype(np.intp) for each in shifted_um]
    low = int(firsts[0].min())
    count = int(firsts[-1].max()) + seen - low
    matrices = []
    for each, first in zip(shifted_um, firsts, strict=True):
        ahead_um = (first[:, None] + np.arange(seen + 1)) * pitch_um - each[:, None]
        place = (first - low)[:, None] + np.arange(seen)
        matrices.append(_weights(plan, part, ahead_um, (place, count)))
    return AcrossTile(
        first=part.start,
        last=part.start + len(centre_um),
        low=low,
        count=count,
        middle_um=float(centre_um.mean() - reference.shape[1] * pitch_um / 2),
        phases=tuple(matrices),
    )


def _weights(
    plan: AcrossPlan, part: slice, ahead_um: FloatArray, into: tuple[Indices, int]
) -> tuple[ImageArray, ...]:
    """Integrate each column over the reference columns it sees, at their places in the tile."""
    place, count = into
    matrices = np.zeros((len(plan.feet), count, len(place)), dtype=np.float32)
    column = np.arange(len(place))[:, None]
    for matrix, foot, scale in zip(matrices, plan.feet, plan.scales, strict=True):
        share = np.diff(foot.integral(ahead_um), axis=1)
        matrix[place, column] = scale * share * plan.profile[part, None]
    return tuple(matrices)
