"""The along matrix of some lines, in tiles of four."""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from linesim.forward.sampling.across import DIGITS
from linesim.forward.sampling.smear import Leaning
from linesim.forward.sampling.windows import Indices, even_runs, even_starts
from linesim.forward.spread import Footprint
from linesim.forward.transport import LineTable
from linesim.setup.arrays import ImageArray

TILE_LINES = 4
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
    # tiles whose rows lie evenly apart, and by how much: each of them is one call of a product
    runs: tuple[tuple[slice, int], ...] = field(init=False)

    def __post_init__(self) -> None:
        """Find them once for all blocks of columns."""
        object.__setattr__(self, "runs", tuple(even_runs(self.low, len(self.low))))

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
    # where no two lines are alike, no other strip is: nothing to keep
    shares = _kept_shares if kinds.size < alike.size else _shares
    weights = shares(feet, kinds.tobytes(), rows, pitch_um)[kind.reshape(len(low), -1)]
    return AlongTable(low=low, weights=weights.reshape(len(low), -1, rows), terms=len(feet))


def _shares(
    feet: tuple[Footprint | Leaning, ...], kinds: bytes, rows: int, pitch_um: float
) -> ImageArray:
    """Give the share of each row in lines by place and travel: at an even speed in every strip."""
    behind_px, moved_px = np.frombuffer(kinds).reshape(-1, 2, 1).transpose(1, 0, 2)
    ahead_um = (np.arange(rows + 1) - behind_px) * pitch_um
    shares = [np.diff(foot.moving_integral(ahead_um, moved_px * pitch_um)) for foot in feet]
    return np.stack(shares, axis=1).astype(np.float32)


_kept_shares = lru_cache(maxsize=8)(_shares)
