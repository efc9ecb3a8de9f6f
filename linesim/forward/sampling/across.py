"""
The across matrix in tiles: some delivered columns, and the reference columns that they see.

Columns that lie alike in their reference pixels share one matrix: with a whole number of reference
pixels in a delivered one all tiles do. Matrices are kept for the next channel, or the next scan, of
the same station.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from linesim.forward.reference import Reference
from linesim.forward.sampling.windows import Indices, even_starts
from linesim.forward.sampling.zones import Sides, Zone
from linesim.forward.spread import Footprint, Spread, footprint
from linesim.setup.arrays import FloatArray, ImageArray

TILE_COLUMNS = 16
PHASES = 8
"""Steps in a reference pixel by which a line that wanders is shifted; off by 1/16 at most."""
_SLACK = 8
"""Columns that a window may start early, to lie evenly with its neighbours."""
DIGITS = 9
"""Decimals of a reference pixel to which places count; beyond them is float's own rounding."""
Columns = slice | Indices


def brought_inside(index: Indices, size: int, *, repeat: bool) -> Indices:
    """Bring indices into the reference: around again, or to its border whose value goes on."""
    return index % size if repeat else np.clip(index, 0, size - 1)


def seen_columns(low: int, count: int, size: int, *, repeat: bool) -> Columns:
    """Name reference columns, also such as lie outside of it."""
    if low >= 0 and low + count <= size:
        return slice(low, low + count)
    return brought_inside(np.arange(low, low + count), size, repeat=repeat)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AcrossTile:
    """
    Some delivered columns, and the reference columns they see.

    Parameters
    ----------
    first, last : int; delivered columns, ``last`` exclusive
    low, count : int; first reference column, may lie outside, and how many
    middle_um : float; middle of the tile from the optical axis, on the target [µm]
    phases : tuple of ndarray of shape (terms, count, last − first)
        One matrix a lens term; one set of them for each shift by a part of a reference pixel.
    profile : ndarray of shape (last − first,); factor of each column, yet to be applied
    zone : int; whose lens terms these are
    """

    first: int
    last: int
    low: int
    count: int
    middle_um: float
    phases: tuple[ImageArray, ...]
    profile: ImageArray
    zone: int = 0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AcrossPlan:
    """What the across matrix is built of."""

    zones: tuple[Zone, ...]
    # shape (columns,); left edge of each delivered pixel, from the left edge of the reference [µm]
    left_um: FloatArray
    side_um: float  # delivered pixel across, as the footprints have it [µm]
    profile: ImageArray  # shape (columns,); factor of each column
    # shape (columns,); delivered pixels across where the lens distorts; None: all have that side
    widths_um: FloatArray | None = None


def across_tiles(
    plan: AcrossPlan, reference: Reference, *, columns: int = TILE_COLUMNS, phases: int = 1
) -> tuple[AcrossTile, ...]:
    """Build the across matrix as tiles, each weight an exact area integral."""
    return tuple(
        tile
        for index in range(len(plan.zones))
        for tile in _zone_tiles(plan, index, reference, (columns, phases))
    )


def _zone_tiles(
    plan: AcrossPlan, index: int, reference: Reference, cut: tuple[int, int]
) -> Iterator[AcrossTile]:
    """Build the tiles of one zone."""
    zone, pitch_um = plan.zones[index], reference.pixel_size_um
    own = slice(zone.first, zone.last)
    wide_um = plan.side_um if plan.widths_um is None else plan.widths_um[own]
    centre_um = plan.left_um[own] + np.asarray(wide_um) / 2
    # how much smaller a pixel lies on the target than in the middle of the line
    finer = plan.side_um / (wide_um + np.zeros_like(centre_um))
    places = (centre_um / pitch_um).tobytes(), finer.tobytes()
    lows, matrices = _matrices(zone.sides, places, pitch_um, cut)
    middle_um = centre_um - reference.shape[1] * pitch_um / 2
    ends = [*range(0, len(centre_um), cut[0]), len(centre_um)]
    for (first, last), low, sets in zip(pairwise(ends), lows, matrices, strict=True):
        yield AcrossTile(
            first=zone.first + first,
            last=zone.first + last,
            low=low,
            count=sets[0].shape[1],
            middle_um=float(middle_um[first:last].mean()),
            phases=_shared(sets, zone.shares, slice(first, last)),
            profile=plan.profile[zone.first + first : zone.first + last],
            zone=index,
        )


def _shared(
    sets: tuple[ImageArray, ...], shares: FloatArray | None, columns: slice
) -> tuple[ImageArray, ...]:
    """Weigh the terms of both ends of a zone, column by column."""
    if shares is None:
        return sets
    own = shares[:, None, columns].astype(np.float32)
    return tuple(each * own for each in sets)


@lru_cache(maxsize=32)
def blurred_sides(
    terms: tuple[Spread, ...], side_um: float, stages: int, apart_um: float
) -> tuple[Footprint, ...]:
    """Blur one side of a pixel by every lens term, once for all channels and scans."""
    return tuple(footprint(term, side_um).comb(stages, apart_um) for term in terms)


@lru_cache(maxsize=32)
def leaked(feet: tuple[Footprint, ...], share: float, pitch_um: float) -> tuple[Footprint, ...]:
    """
    Let each pixel's neighbours in the line collect a share of its charge, and it one of theirs.

    The pixels beyond the ends of the line are there too, as on a sensor, though nobody reads them.
    """
    if share == 0:
        return feet
    offset_um, weight = (
        pitch_um * np.array([-1.0, 0.0, 1.0]),
        np.array([share, 1 - 2 * share, share]),
    )
    return tuple(foot.mixed(offset_um, weight) for foot in feet)


@lru_cache(maxsize=8)
def _matrices(
    sides: Sides, places: tuple[bytes, bytes], pitch_um: float, cut: tuple[int, int]
) -> tuple[list[int], list[tuple[ImageArray, ...]]]:
    """Give first reference column and matrices of each tile; centres in reference pixels."""
    (columns, phases), (centre_px, finer) = cut, map(np.frombuffer, places)
    reach_px = max(foot.reach_um for foot in sides.across) / pitch_um / finer.min()
    # a column sees so many reference columns, whichever it starts with
    seen = int(np.ceil(2 * reach_px)) + 1
    shifted_px = centre_px + np.arange(phases)[:, None] / phases
    firsts = np.floor(np.round(shifted_px - reach_px, DIGITS)).astype(np.intp)
    behind = np.round(shifted_px - firsts, DIGITS)
    tiles = [slice(k, k + columns) for k in range(0, len(centre_px), columns)]
    low = even_starts(np.array([firsts[0, part].min() for part in tiles]), _SLACK)
    count = max(int(firsts[-1, part].max()) - start for part, start in zip(tiles, low, strict=True))
    known: dict[bytes, ImageArray] = {}
    found = []
    for part, start in zip(tiles, low.tolist(), strict=True):
        sets = []
        for first, place in zip(firsts[:, part] - start, behind[:, part], strict=True):
            key = first.tobytes() + place.tobytes() + finer[part].tobytes()
            if key not in known:
                ahead_um = (np.arange(seen + 1) - place[:, None]) * pitch_um
                ahead_um = ahead_um * finer[part, None]
                known[key] = _weights(sides, ahead_um, (first, count + seen))
            sets.append(known[key])
        found.append(tuple(sets))
    return low.tolist(), found


def _weights(sides: Sides, ahead_um: FloatArray, into: tuple[Indices, int]) -> ImageArray:
    """Integrate each column over the reference columns it sees, at their places in the tile."""
    (first, count), feet = into, sides.across
    matrices = np.zeros((len(feet), count, len(first)), dtype=np.float32)
    column, place = (
        np.arange(len(first))[:, None],
        first[:, None] + np.arange(ahead_um.shape[1] - 1),
    )
    for matrix, foot, scale in zip(matrices, feet, sides.weights, strict=True):
        matrix[place, column] = scale * np.diff(foot.integral(ahead_um), axis=1)
    return matrices
