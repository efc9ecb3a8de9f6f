"""
The along products: the matrices of one or more channels with the reference, in one way through it.

Reference rows may lie any distance apart in memory; a distance of a power of two, as in an image of
16384 columns, lets few of them stay in a cache at a time. Some columns of all rows of a strip are
therefore taken into a block of its own first: the only time that the reference is read, however
many channels look at it. A single channel meets each row a few times only, which is less than the
way into a block costs: it looks at the rows where they lie.
"""

from collections.abc import Iterator
from itertools import groupby, pairwise
from typing import NamedTuple

import numpy as np

from linesim.forward.reference import Reference
from linesim.forward.sampling.along import AlongTable
from linesim.forward.sampling.windows import down, roomy
from linesim.setup.arrays import ImageArray

SMALL_PRODUCT = 1_000_000
"""Multiplications up to which a matrix product need not copy its factors first (OpenBLAS)."""
BLOCK_COLUMNS = 512
"""Most columns of a block: with the rows of a strip it fills a processor core's own cache."""
_IN_PLACE_COLUMNS = 256
"""Columns from which a single channel looks at rows in place; fewer fetch too little of a row."""
_MEETINGS = 5
"""Times that tiles may meet a row in place where rows lie a multiple of `_PAGE` bytes apart."""
_PAGE = 4096


class Product(NamedTuple):
    """
    One along product.

    Parameters
    ----------
    table : AlongTable; the matrix
    seen : ndarray of shape (rows, columns); reference rows, as this channel sees them
    first : int; number of the first of these rows
    low : int; first reference column that is wanted; may lie outside
    into : ndarray of shape (lines x terms, columns); what is wanted
    """

    table: AlongTable
    seen: ImageArray
    first: int
    low: int
    into: ImageArray

    @property
    def cuts(self) -> list[tuple[int, int]]:
        """Columns of each step: as many as it takes, all about as wide."""
        _, size, high = self.table.weights.shape
        step = min(max(SMALL_PRODUCT // (size * high), 256), BLOCK_COLUMNS)
        width = self.into.shape[1]
        step = -(-width // -(-width // step))
        return [(start, min(start + step, width)) for start in range(0, width, step)]

    def side(self, cut: tuple[int, int], *, repeat: bool) -> bool | None:
        """Tell beyond which border columns lie, all like one: False left, True right."""
        if not repeat and self.low + cut[0] >= self.seen.shape[1]:
            return True
        return False if not repeat and self.low + cut[1] <= 0 else None

    def windows(
        self, block: ImageArray, first: int
    ) -> list[tuple[ImageArray, ImageArray, ImageArray]]:
        """Name weights, results and rows, which a block has from a row on, of each run of tiles."""
        table, (tiles, size, high) = self.table, self.table.weights.shape
        out = self.into.reshape(tiles, size, -1)
        return [
            (
                table.weights[run],
                out[run],
                down(block, int(table.low[run.start]) - first, by, (run.stop - run.start, high)),
            )
            for run, by in table.runs
        ]


def along_products(products: list[Product], *, repeat: bool) -> None:
    """Take products with columns of the reference, also such as lie outside of it."""
    whole = products[0].seen.shape[1]
    if not repeat or all(one.into.shape[1] <= whole for one in products):
        _by_blocks(products, repeat=repeat)
        return
    for one in products:
        size = min(whole, one.into.shape[1])
        _by_blocks([one._replace(into=one.into[:, :size])], repeat=True)
        while size < one.into.shape[1]:  # what comes round again is the same
            more = one.into[:, size : 2 * size]
            more[:] = one.into[:, : more.shape[1]]
            size *= 2


def _by_blocks(products: list[Product], *, repeat: bool) -> None:
    """Walk through the columns a block at a time, all products side by side."""
    if len(products) == 1:
        for _ in _steps(products, repeat=repeat):
            pass
        return
    if len({len(one.cuts) for one in products}) > 1:
        for one in products:
            _by_blocks([one], repeat=repeat)
        return
    by_plane = sorted(products, key=lambda one: id(one.seen))
    planes = [list(group) for _, group in groupby(by_plane, key=lambda one: id(one.seen))]
    # planes of one image in turn: what the first one's block fetched is near for the others
    for _ in zip(*[_steps(group, repeat=repeat) for group in planes], strict=True):
        pass


def _steps(products: list[Product], *, repeat: bool) -> Iterator[None]:
    """Take products with one plane, a block of columns a step."""
    first = min(int(one.table.low.min()) for one in products)
    count = max(one.table.high for one in products) - first
    from_row = first - products[0].first
    steps = list(zip(*[one.cuts for one in products], strict=True))
    spans = [
        (
            min(one.low + start for one, (start, _) in zip(products, cuts, strict=True)),
            max(one.low + end for one, (_, end) in zip(products, cuts, strict=True)),
        )
        for cuts in steps
    ]
    seen = products[0].seen
    block = roomy(count, max(past - low for low, past in spans))
    works = [_Work(one, one.windows(block, first), {}) for one in products]
    wide = len(products) == 1 and block.shape[1] >= _IN_PLACE_COLUMNS
    met = products[0].table.weights.shape[2] * len(products[0].table.low) / count
    few = met <= _MEETINGS or seen.strides[0] % _PAGE != 0
    in_place = wide and few and _holds(seen, from_row, count)
    there = [work.over(seen) for work in works] if in_place else []
    for cuts, (low, past) in zip(steps, spans, strict=True):
        inside = in_place and low >= 0 and past <= seen.shape[1]
        own = list(zip(there if inside else works, cuts, strict=True))
        if not inside and not all(work.is_known(cut, repeat=repeat) for work, cut in own):
            _take(seen, (from_row, low), block[:, : past - low], repeat=repeat)
        for work, cut in own:
            work.step(cut, 0 if inside else low, repeat=repeat)
        yield


def _holds(seen: ImageArray, first: int, count: int) -> bool:
    """Tell whether rows are there, and lie so that a matrix product needs no copy of them."""
    down_bytes, across_bytes = seen.strides
    rows_apart = down_bytes >= seen.shape[1] * seen.itemsize and down_bytes % seen.itemsize == 0
    ready = rows_apart and across_bytes == seen.itemsize and seen.flags.aligned
    return ready and seen.dtype == np.float32 and first >= 0 and first + count <= len(seen)


class _Work(NamedTuple):
    """A product under way: what it multiplies, and columns beyond each border that are known."""

    product: Product
    windows: list[tuple[ImageArray, ImageArray, ImageArray]]
    beyond: dict[bool, int]

    def is_known(self, cut: tuple[int, int], *, repeat: bool) -> bool:
        """Tell whether a column beyond the border, which all are like, is there already."""
        side = self.product.side(cut, repeat=repeat)
        return side is not None and side in self.beyond

    def over(self, seen: ImageArray) -> "_Work":
        """Look at the rows themselves in the place of a block."""
        return self._replace(windows=self.product.windows(seen, self.product.first))

    def step(self, cut: tuple[int, int], low: int, *, repeat: bool) -> None:
        """Multiply with a block that begins with a column."""
        start, end = cut
        side, at = self.product.side(cut, repeat=repeat), self.product.low - low
        if side is not None and side in self.beyond:
            for _, out, _ in self.windows:
                out[:, :, start:end] = out[:, :, self.beyond[side], None]
            return
        for weights, out, seen in self.windows:
            np.matmul(weights, seen[:, :, at + start : at + end], out=out[:, :, start:end])
        if side is not None:
            self.beyond[side] = start


def _take(seen: ImageArray, low: tuple[int, int], into: ImageArray, *, repeat: bool) -> None:
    """Copy rows and columns from a place on; the first and last row stand for all beyond them."""
    first = min(max(low[0], 0), len(seen) - 1)
    last = min(max(low[0] + len(into) - 1, 0), len(seen) - 1)
    before = min(max(-low[0], 0), len(into) - 1)
    past = before + last + 1 - first
    _take_columns(seen[first : last + 1], low[1], into[before:past], repeat=repeat)
    if before or past < len(into):
        into[:before] = into[before]
        into[past:] = into[past - 1]


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


def seen_rows(reference: Reference, low: int, high: int, *, repeat: bool) -> tuple[ImageArray, int]:
    """
    Fetch reference rows, also such as lie outside of it.

    Parameters
    ----------
    reference : Reference
    low, high : int; first row and one past the last
    repeat : bool; whether it repeats; else those outside, which its border rows stand for, are not
        among them

    Returns
    -------
    seen : ndarray of shape (rows, columns) or (rows, columns, 3)
    first : int; number of the first of them
    """
    size = reference.shape[0]
    if not repeat:
        first, last = (min(max(end, 0), size - 1) for end in (low, high - 1))
        return reference.rows(first, last + 1), first
    start, count = low % size, high - low
    if start + count <= size:
        return reference.rows(start, start + count), low
    # whole runs, for rows of a file cost reading: all between two places at the seam would be
    ends = [start, *range(size, start + count, size), start + count]
    runs = [(a % size, a % size + b - a) for a, b in pairwise(ends)]
    return np.concatenate([reference.rows(first, last) for first, last in runs]), low


def one_band(seen: ImageArray, bands: ImageArray) -> ImageArray:
    """Bring a colour reference to what one channel sees of it; of one colour alone a view."""
    if seen.ndim == 2:  # noqa: PLR2004 -- rows and columns alone
        return seen
    if np.count_nonzero(bands) == 1 and bands.max() == 1:
        return seen[:, :, int(bands.argmax())]
    return np.ascontiguousarray(seen @ bands)
