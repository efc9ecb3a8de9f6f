"""
The across matrix in tiles: some delivered columns, and the reference columns that they see.

Columns that lie alike in their reference pixels share one matrix: with a whole number of reference
pixels in a delivered one all tiles do. Matrices are kept for the next channel, or the next scan, of
the same station.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise, product
from math import ceil

import numpy as np

from linesim.forward.reference import Reference
from linesim.forward.sampling.smear import STILL, Smears, smeared
from linesim.forward.sampling.windows import Indices, even_starts
from linesim.forward.sampling.zones import Sides, Zone
from linesim.forward.spread import Footprint, Spread, footprint
from linesim.setup.arrays import FloatArray, ImageArray

TILE_COLUMNS = 16
PHASES = 12
"""Steps in a reference pixel for which a line that wanders is worked out; mixed in between."""
_SLACK = 8
"""Columns that a window may start early, to lie evenly with its neighbours."""
DIGITS = 9
"""Decimals of a reference pixel to which places count; beyond them is float's own rounding."""
Term = tuple[Footprint, float]
"""What a term integrates, and its factor."""


def brought_inside(index: Indices, size: int, *, repeat: bool) -> Indices:
    """Bring indices into the reference: around again, or to its border whose value goes on."""
    return index % size if repeat else np.clip(index, 0, size - 1)


def phases_over(stretched_px: float) -> int:
    """
    Count shifts to work out for each sideways travel.

    Parameters
    ----------
    stretched_px : float; by how much those over a tile differ, in reference pixels

    Returns
    -------
    int; from 0 on, a twelfth of a reference pixel apart
    """
    return PHASES + 1 + ceil(PHASES * stretched_px)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AcrossTile:
    """
    Some delivered columns, and the reference columns they see.

    Parameters
    ----------
    first, last : int; delivered columns, ``last`` exclusive
    low, count : int; first reference column, may lie outside, and how many
    middle_um : float; middle of the tile from the optical axis, on the target [µm]
    places_um : ndarray of shape (last − first,); middle of each column from the axis [µm]
    phases : tuple of ndarray of shape (terms, count, last − first)
        One matrix a lens term; one set of them for each sideways travel, and in that for each shift
        by a part of a reference pixel.
    profile : ndarray of shape (last − first,); factor of each column, yet to be applied
    zone : int; whose lens terms these are
    """

    first: int
    last: int
    low: int
    count: int
    middle_um: float
    places_um: FloatArray
    phases: tuple[ImageArray, ...]
    profile: ImageArray
    zone: int = 0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AcrossPlan:
    """What the across matrix is built of."""

    zones: tuple[Zone, ...]
    axis_um: float  # the optical axis, from the left edge of the reference [µm]
    # shape (columns,); left edge of each delivered pixel, from there too [µm]
    left_um: FloatArray
    side_um: float  # delivered pixel across, as the footprints have it [µm]
    profile: ImageArray  # shape (columns,); factor of each column
    # shape (columns,); delivered pixels across where the lens distorts; None: all have that side
    widths_um: FloatArray | None = None
    smears: Smears = STILL


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
    lows, matrices = _matrices((zone.sides, plan.smears), places, pitch_um, cut)
    middle_um = centre_um - plan.axis_um
    ends = [*range(0, len(centre_um), cut[0]), len(centre_um)]
    for (first, last), low, sets in zip(pairwise(ends), lows, matrices, strict=True):
        yield AcrossTile(
            first=zone.first + first,
            last=zone.first + last,
            low=low,
            count=sets[0].shape[1],
            middle_um=float(middle_um[first:last].mean()),
            places_um=middle_um[first:last],
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
    # the terms come once for each order of what leans
    own = np.tile(own, (len(sets[0]) // len(own), 1, 1))
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
    made_of: tuple[Sides, Smears],
    places: tuple[bytes, bytes],
    pitch_um: float,
    cut: tuple[int, int],
) -> tuple[list[int], list[tuple[ImageArray, ...]]]:
    """Give first reference column and matrices of each tile; centres in reference pixels."""
    (columns, phases), (sides, smears) = cut, made_of
    centre_px, finer = map(np.frombuffer, places)
    reach_um = max(foot.reach_um for foot in sides.across) / finer.min()
    reach_px = (reach_um + smears.widths_um[-1] / 2) / pitch_um
    # a column sees so many reference columns, whichever it starts with
    seen = int(np.ceil(2 * reach_px)) + 1
    shifted_px = centre_px + np.arange(phases)[:, None] / PHASES
    firsts = np.floor(np.round(shifted_px - reach_px, DIGITS)).astype(np.intp)
    behind = np.round(shifted_px - firsts, DIGITS)
    tiles = [slice(k, k + columns) for k in range(0, len(centre_px), columns)]
    terms = [_terms(sides, smears, width_um) for width_um in smears.widths_um]
    low = even_starts(np.array([firsts[0, part].min() for part in tiles]), _SLACK)
    count = max(int(firsts[-1, part].max()) - start for part, start in zip(tiles, low, strict=True))
    known = _Known(terms=terms, pitch_um=pitch_um, seen=seen, count=count + seen)
    return low.tolist(), [
        known.sets(firsts[:, part] - start, behind[:, part], finer[part])
        for part, start in zip(tiles, low.tolist(), strict=True)
    ]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Known:
    """Matrices made so far, by how a tile's columns lie in their reference pixels."""

    terms: list[list[Term]]  # of each sideways travel
    pitch_um: float
    seen: int  # reference columns that a column sees, and those of a tile
    count: int
    made: dict[tuple[int, bytes], ImageArray] = field(default_factory=dict)

    def sets(self, first: Indices, behind: FloatArray, finer: FloatArray) -> tuple[ImageArray, ...]:
        """Give those of a tile: all shifts of each sideways travel."""
        places = list(zip(first, behind, strict=True))
        return tuple(
            self._matrix(level, at, finer) for level, at in product(range(len(self.terms)), places)
        )

    def _matrix(self, level: int, at: tuple[Indices, FloatArray], finer: FloatArray) -> ImageArray:
        first, place = at
        key = level, first.tobytes() + place.tobytes() + finer.tobytes()
        if key not in self.made:
            ahead_um = (np.arange(self.seen + 1) - place[:, None]) * self.pitch_um
            self.made[key] = _weights(
                self.terms[level], ahead_um * finer[:, None], (first, self.count)
            )
        return self.made[key]


def _terms(sides: Sides, smears: Smears, width_um: float) -> list[Term]:
    """Give what to integrate for one sideways travel: blurred sides, then what leans of them."""
    return [
        (smeared(foot, width_um, order), (2 * order + 1) * scale)
        for order in range(smears.orders)
        for foot, scale in zip(sides.across, sides.weights, strict=True)
    ]


def _weights(terms: list[Term], ahead_um: FloatArray, into: tuple[Indices, int]) -> ImageArray:
    """Integrate each column over the reference columns it sees, at their places in the tile."""
    first, count = into
    matrices = np.zeros((len(terms), count, len(first)), dtype=np.float32)
    column, place = (
        np.arange(len(first))[:, None],
        first[:, None] + np.arange(ahead_um.shape[1] - 1),
    )
    for matrix, (foot, scale) in zip(matrices, terms, strict=True):
        matrix[place, column] = scale * np.diff(foot.integral(ahead_um), axis=1)
    return matrices
