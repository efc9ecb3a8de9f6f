"""
The along matrix in tiles of a few lines, and its product with the reference.

Reference rows may lie any distance apart in memory; a distance of a power of two, as in an image of
16384 columns, lets few of them stay in a cache at a time. The product therefore takes some columns
of all rows of a strip into a block of its own first: the only time that the reference is read.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from linesim.forward.reference import Reference
from linesim.forward.sampling.across import DIGITS, brought_inside
from linesim.forward.sampling.smear import Leaning
from linesim.forward.sampling.windows import Indices, down, even_runs, even_starts, roomy
from linesim.forward.spread import Footprint
from linesim.forward.transport import LineTable
from linesim.setup.arrays import ImageArray

TILE_LINES = 4
SMALL_PRODUCT = 1_000_000
"""Multiplications up to which a matrix product need not copy its factors first (OpenBLAS)."""
BLOCK_COLUMNS = 512
"""Most columns of a block: with the rows of a strip it fills a processor core's own cache."""
_SLACK = 2
"""Rows that a window may start early, to lie evenly with its neighbours."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AlongTable:
    """The along matrix of some lines."""

    # shape (tiles,); first reference row of each tile of four lines; may lie outside the reference
    low: Indices
    # shape (tiles, lines x terms, rows); share of each reference row in each line, its lens terms
    # one after the other
    weights: ImageArray
    terms: int  # lens terms

    @property
    def high(self) -> int:
        """One past the last reference row that any tile sees."""
        return int(self.low.max()) + int(self.weights.shape[2])

    @property
    def depth(self) -> int:
        """Lines x terms."""
        return len(self.low) * int(self.weights.shape[1])

    def folded(self, size: int) -> "AlongTable":
        """Lay what lies beyond the reference onto its border rows, whose values go on there."""
        tiles, depth, rows = self.weights.shape
        weights = np.zeros((tiles, depth, size), dtype=np.float32)
        for whole, part, low in zip(weights, self.weights, self.low.tolist(), strict=True):
            first, last = np.clip([-low, size - low], 0, rows).tolist()
            whole[:, low + first : low + last] = part[:, first:last]
            whole[:, 0] += part[:, :first].sum(axis=1, dtype=np.float64)
            whole[:, -1] += part[:, last:].sum(axis=1, dtype=np.float64)
        return AlongTable(low=np.zeros_like(self.low), weights=weights, terms=self.terms)

    def product(
        self, rows: tuple[ImageArray, int], low: int, into: ImageArray, *, repeat: bool
    ) -> None:
        """Multiply with some columns of the reference, also such as lie outside of it."""
        size = rows[0].shape[1]
        if not repeat or into.shape[1] <= size:
            self._product(rows, low, into, repeat=repeat)
            return
        self._product(rows, low, into[:, :size], repeat=True)
        while size < into.shape[1]:  # what comes round again is the same
            more = into[:, size : 2 * size]
            more[:] = into[:, : more.shape[1]]
            size *= 2

    def _product(
        self, rows: tuple[ImageArray, int], low: int, into: ImageArray, *, repeat: bool
    ) -> None:
        """Multiply in steps of some columns; beyond a border one column stands for all."""
        first, width = int(self.low.min()), into.shape[1]
        seen = rows[0][first - rows[1] : self.high - rows[1]]
        tiles, size, high = self.weights.shape
        step = min(max(SMALL_PRODUCT // (size * high), 256), BLOCK_COLUMNS)
        # as many steps as it takes, all about as wide
        step = -(-width // -(-width // step))
        block, out = roomy(len(seen), step), into.reshape(tiles, size, width)
        parts = [
            (
                self.weights[run],
                out[run],
                down(block, int(self.low[run.start]) - first, by, (run.stop - run.start, high)),
            )
            for run, by in even_runs(self.low, tiles)
        ]
        beyond: dict[bool, int] = {}
        for start in range(0, width, step):
            end = min(start + step, width)
            right = low + start >= seen.shape[1]
            outside = not repeat and (right or low + end <= 0)
            if outside and right in beyond:
                out[:, :, start:end] = out[:, :, beyond[right], None]
                continue
            _take_columns(seen, low + start, block[:, : end - start], repeat=repeat)
            for weights, result, windows in parts:
                np.matmul(weights, windows[:, :, : end - start], out=result[:, :, start:end])
            if outside:
                beyond[right] = start


def _take_columns(seen: ImageArray, low: int, into: ImageArray, *, repeat: bool) -> None:
    """Copy columns from ``low`` on in runs; by index would be ten times as slow."""
    high, size = low + into.shape[1], seen.shape[1]
    if repeat:
        at = low
        while at < high:
            first = at % size
            count = min(size - first, high - at)
            into[:, at - low : at - low + count] = seen[:, first : first + count]
            at += count
        return
    first = min(max(low, 0), high)
    last = max(min(high, size), first)
    into[:, : first - low] = seen[:, :1]
    into[:, first - low : last - low] = seen[:, first:last]
    into[:, last - low :] = seen[:, -1:]


def along_table(
    feet: tuple[Footprint | Leaning, ...], lines: LineTable, side_um: float, pitch_um: float
) -> AlongTable:
    """Build the along matrix of some lines, each weight an exact area integral."""
    centre_px = (lines.start_um + side_um / 2).reshape(-1, TILE_LINES) / pitch_um
    travel_px = lines.travel_um.reshape(-1, TILE_LINES) / pitch_um
    reach_px = max(foot.reach_um for foot in feet) / pitch_um
    low = even_starts(np.floor(centre_px.min(axis=1) - reach_px).astype(np.intp), _SLACK)
    rows = int((np.ceil((centre_px + travel_px).max(axis=1) + reach_px) - low).max())
    # lines that lie and move alike in their tiles share their weights: complex for a pair of keys
    alike = np.round(centre_px - low[:, None] + 1j * travel_px, DIGITS)
    kinds, kind = np.unique(alike, return_inverse=True)
    behind_px, moved_px = kinds.view(np.float64).reshape(-1, 2, 1).transpose(1, 0, 2)
    ahead_um = (np.arange(rows + 1) - behind_px) * pitch_um
    shares = np.stack(
        [np.diff(foot.moving_integral(ahead_um, moved_px * pitch_um)) for foot in feet], axis=1
    )
    weights = shares.astype(np.float32)[kind.reshape(len(low), -1)]
    return AlongTable(low=low, weights=weights.reshape(len(low), -1, rows), terms=len(feet))


def seen_rows(reference: Reference, low: int, count: int, *, repeat: bool) -> ImageArray:
    """Fetch reference rows, also such as lie outside of it."""
    size = reference.shape[0]
    start = low % size if repeat else low
    if start >= 0 and start + count <= size:
        return reference.rows(start, start + count)
    if repeat:
        # whole runs, for rows of a file cost reading: all between two places at the seam would be
        ends = [start, *range(size, start + count, size), start + count]
        runs = [(a % size, a % size + b - a) for a, b in pairwise(ends)]
        return np.concatenate([reference.rows(first, last) for first, last in runs])
    index = brought_inside(np.arange(low, low + count), size, repeat=False)
    first = int(index.min())
    return reference.rows(first, int(index.max()) + 1)[index - first]


def one_band(seen: ImageArray, bands: ImageArray) -> ImageArray:
    """Bring a colour reference to what one channel sees of it."""
    if seen.ndim == 2:  # noqa: PLR2004 -- rows and columns alone
        return seen
    return np.ascontiguousarray(seen @ bands)
