"""
Both products in plain torch: batches of small dense matrices over views of the reference.

The windows of neighbouring tiles overlap. Where they lie evenly they are one strided view, and one
call multiplies them all, each with its own matrix; where they do not, a matrix is shifted inside a
slightly wider window. Everything is in float32, whatever precision torch is set to allow.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linesim.forward.device.tables import Band
from linesim.forward.device.tiles import Tiles, cut, even_places, runs
from linesim.forward.sampling.across import brought_inside
from linesim.forward.sampling.windows import Indices
from linesim.setup.arrays import ImageArray

if TYPE_CHECKING:
    import torch

LINES = 16
COLUMNS = 32
BLOCK_TILES = 32
"""Tiles of lines whose along product is held in memory at a time."""
_SLACK = 8


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Run:
    """Tiles whose windows lie evenly."""

    tiles: slice
    low: int
    step: int
    dense: "torch.Tensor"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Products:
    """The across matrix of one channel and its reference, ready for any lines."""

    plane: "torch.Tensor"
    repeat: bool
    width: int
    columns: tuple[Run, ...]

    def lines_per_tile(self, _: Band) -> int:
        """Say how many lines make a tile."""
        return LINES

    def prepared(self, band: Band, _: int) -> tuple[tuple[Run, ...], ...]:
        """Bring the along matrix of some lines to the device, in blocks."""
        tiles = cut(band, LINES)
        blocks = range(0, len(tiles.low), BLOCK_TILES)
        return tuple(
            _runs(tiles, slice(first, first + BLOCK_TILES), self.plane.device) for first in blocks
        )

    def sampled(self, blocks: tuple[tuple[Run, ...], ...], lines: int) -> "torch.Tensor":
        """Give the expected electrons of those lines, of shape (lines, columns). [e]."""
        size, last = COLUMNS, self.columns[-1].tiles.stop
        out = self.plane.new_empty((-(-lines // LINES) * LINES, last * size))
        done = 0
        with full_precision():
            for block in blocks:
                count = (block[-1].tiles.stop - block[0].tiles.start) * LINES
                self._across(self._along(block), out[done : done + count])
                done += count
        return out[:lines, : self.width]

    @property
    def _ends(self) -> tuple[int, int]:
        """First reference column that is seen, and one past the last; both may lie outside."""
        first, last = self.columns[0], self.columns[-1]
        steps = last.tiles.stop - last.tiles.start - 1
        return first.low, last.low + steps * last.step + last.dense.shape[3]

    def _along(self, block: tuple[Run, ...]) -> "torch.Tensor":
        """Take the along product of some tiles, of shape (lines, terms, columns seen)."""
        import torch  # noqa: PLC0415 -- an extra

        low, high = self._ends
        first, last = self._direct(low, high)
        seen, origin = self._rows(block)
        start, terms = block[0].tiles.start, block[0].dense.shape[1]
        count = block[-1].tiles.stop - start
        out = seen.new_empty((count, LINES * terms, high - low))
        for run in block:
            tiles = run.tiles.stop - run.tiles.start
            view = seen.as_strided(
                (tiles, run.dense.shape[3], last - first),
                (run.step * seen.stride(0), seen.stride(0), 1),
                seen.storage_offset() + (run.low - origin) * seen.stride(0) + first,
            )
            weights = run.dense.transpose(1, 2).flatten(1, 2).expand(tiles, -1, -1)
            into = out[
                run.tiles.start - start : run.tiles.stop - start, :, first - low : last - low
            ]
            torch.bmm(weights, view, out=into)
        blurred = out.view(count * LINES, terms, high - low)
        for part in (slice(low, first), slice(last, high)):
            outside = brought_inside(
                np.arange(part.start, part.stop), self.plane.shape[1], repeat=self.repeat
            )
            index = torch.as_tensor(outside - low).to(out.device, non_blocking=True)
            blurred[:, :, part.start - low : part.stop - low] = blurred[:, :, index]
        return blurred

    def _direct(self, low: int, high: int) -> tuple[int, int]:
        """Name the reference columns to multiply; all others that are seen repeat one of them."""
        total = self.plane.shape[1]
        if self.repeat and (low < 0 or high > total):
            return 0, total
        first = min(max(low, 0), total - 1)
        return first, max(min(high, total), first + 1)

    def _rows(self, block: tuple[Run, ...]) -> tuple["torch.Tensor", int]:
        """Give the reference rows that a block sees; and the first one's number."""
        import torch  # noqa: PLC0415 -- an extra

        ends = [(run.tiles.stop - run.tiles.start - 1) * run.step + run.low for run in block]
        low = min(*(run.low for run in block), *ends)
        high = max(*(run.low for run in block), *ends) + max(r.dense.shape[3] for r in block)
        if low >= 0 and high <= self.plane.shape[0]:
            return self.plane[low:high], low
        index = brought_inside(np.arange(low, high), self.plane.shape[0], repeat=self.repeat)
        chosen = torch.as_tensor(index).to(self.plane.device, non_blocking=True)
        return self.plane[chosen], low

    def _across(self, blurred: "torch.Tensor", into: "torch.Tensor") -> None:
        """Take the across product of a block, all terms added up."""
        low, _ = self._ends
        lines, terms, columns = blurred.shape
        for run in self.columns:
            tiles = run.tiles.stop - run.tiles.start
            part = into[:, run.tiles.start * COLUMNS : run.tiles.stop * COLUMNS]
            out = part.view(-1, tiles, COLUMNS).transpose(0, 1)
            for term in range(terms):
                view = blurred.as_strided(
                    (tiles, lines, run.dense.shape[3]),
                    (run.step, terms * columns, 1),
                    term * columns + run.low - low,
                )
                weights = run.dense[:, term].transpose(1, 2).expand(tiles, -1, -1)
                out.baddbmm_(view, weights, beta=min(term, 1))


def products(plane: "torch.Tensor", across: Band, *, repeat: bool) -> Products:
    """Bring the across matrix to the device."""
    tiles = cut(across, COLUMNS)
    return Products(
        plane=plane,
        repeat=repeat,
        width=len(across.first),
        columns=_runs(tiles, slice(0, len(tiles.low)), plane.device),
    )


def _runs(tiles: Tiles, part: slice, device: "torch.device") -> tuple[Run, ...]:
    """Part some tiles into runs, their matrices on the device."""
    import torch  # noqa: PLC0415 -- an extra

    low = tiles.low[part]
    found = []
    for run in runs(low, _SLACK):
        even = even_places(low[run])
        kinds = tiles.which[part][run]
        dense = _shifted(tiles.dense, kinds, low[run] - even)
        step = int(even[1] - even[0]) if len(even) > 1 else 0
        whole = slice(part.start + run.start, part.start + run.stop)
        found.append(
            Run(tiles=whole, low=int(even[0]), step=step, dense=torch.as_tensor(dense).to(device))
        )
    return tuple(found)


def _shifted(dense: ImageArray, kinds: Indices, ahead: Indices) -> ImageArray:
    """Put the matrices of some tiles into windows that start earlier; one if all are equal."""
    if len(set(zip(kinds.tolist(), ahead.tolist(), strict=True))) == 1:
        kinds, ahead = kinds[:1], ahead[:1]
    wide = np.zeros((len(kinds), *dense.shape[1:3], dense.shape[3] + int(ahead.max())), np.float32)
    place = ahead[:, None, None, None] + np.arange(dense.shape[3])
    np.put_along_axis(wide, np.broadcast_to(place, (len(kinds), *dense.shape[1:])), dense[kinds], 3)
    return wide


@contextmanager
def full_precision() -> Iterator[None]:
    """Keep matrix products in float32, as long as this lasts."""
    import torch  # noqa: PLC0415 -- an extra

    before = torch.get_float32_matmul_precision()
    torch.set_float32_matmul_precision("highest")
    try:
        yield
    finally:
        torch.set_float32_matmul_precision(before)
