"""The across product of many tiles in one call, wherever their windows lie evenly apart."""

from dataclasses import dataclass
from itertools import groupby

import numpy as np

from linesim.forward.sampling.across import AcrossTile
from linesim.forward.sampling.windows import across, even_runs
from linesim.setup.arrays import ImageArray

MOST_TILES = 32
"""Tiles of a run: what it sees after the along product then stays in the cache until used."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AcrossRun:
    """Tiles of equal size whose windows lie evenly apart."""

    first: int  # delivered columns, ``last`` exclusive
    last: int
    low: int  # reference columns that the run sees, ``high`` exclusive; may lie outside
    high: int
    step: int  # distance from the first one of a tile to that of the next
    # shape (terms, tiles, count, columns of a tile); of all tiles; the same memory where they share
    # one
    matrices: ImageArray
    profile: ImageArray  # shape (last − first,); factor of each column, yet to be applied
    zone: int  # whose lens terms these are

    def product(self, blurred: ImageArray, into: ImageArray) -> None:
        """Take the across product of some lines."""
        terms, tiles, count, columns = self.matrices.shape
        seen = across(blurred, terms, self.step, (tiles, count))
        lines = len(into)
        products = np.empty((terms, lines, tiles * columns), dtype=np.float32)
        # lines stay whole: what follows then runs over all of a line at a time
        by_tile = products.reshape(terms, lines, tiles, columns).transpose(0, 2, 1, 3)
        np.matmul(seen, self.matrices, out=by_tile)
        out = products[0]
        for more in products[1:]:
            out += more
        np.multiply(out, self.profile, out=into[:, self.first : self.last])


def across_runs(tiles: tuple[AcrossTile, ...]) -> tuple[AcrossRun, ...]:
    """Join tiles whose windows lie evenly apart."""
    found = []
    for _, group in groupby(tiles, key=lambda one: (one.zone, one.last - one.first, one.count)):
        alike = list(group)
        lows = np.array([tile.low for tile in alike])
        found += [_run(alike[part], step) for part, step in even_runs(lows, MOST_TILES)]
    return tuple(found)


def _run(tiles: list[AcrossTile], step: int) -> AcrossRun:
    matrices = [tile.phases[0] for tile in tiles]
    if all(each is matrices[0] for each in matrices):
        terms, *size = matrices[0].shape
        stacked = np.broadcast_to(matrices[0][:, None], (terms, len(tiles), *size))
    else:
        stacked = np.stack(matrices, axis=1)
    return AcrossRun(
        first=tiles[0].first,
        last=tiles[-1].last,
        low=tiles[0].low,
        high=tiles[-1].low + tiles[-1].count,
        step=step,
        matrices=stacked,
        profile=np.concatenate([tile.profile for tile in tiles]),
        zone=tiles[0].zone,
    )
