"""
Windows into a block that lie evenly apart, so that one call of BLAS's batches serves many of them.

A tile of a banded matrix sees a window of its own. Where the windows of neighbouring tiles start at
even distances, they are one array of three dimensions over the same memory, and numpy multiplies
them all in one call, outside the interpreter's lock.
"""

from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from linesim.setup.arrays import ImageArray

Indices = NDArray[np.intp]
LONGEST_RUN = 16
_LINE = 16
"""Samples of float32 in a cache line."""


def roomy(rows: int, columns: int) -> ImageArray:
    """
    Make a block whose rows lie an odd number of cache lines apart.

    Rows that are a power of two apart meet in the same few places of a cache and drive each other
    out; with an odd distance they spread over all of it.
    """
    apart = (-(-columns // _LINE) | 1) * _LINE
    return np.empty((rows, apart), dtype=np.float32)[:, :columns]


def even_starts(wanted: Indices, slack: int) -> Indices:
    """Start windows a little early, so that runs of them lie evenly apart."""
    starts, first = np.empty_like(wanted), 0
    while first < len(wanted):
        for count in (LONGEST_RUN, 8, 4, 2, 1):
            run = wanted[first : first + count]
            step = round(int(run[-1] - run[0]) / max(len(run) - 1, 1))
            late = run - run[0] - step * np.arange(len(run))
            if late.max() - late.min() <= slack:
                break
        starts[first : first + len(run)] = run - late + late.min()
        first += len(run)
    return starts


def even_runs(starts: Indices, most: int) -> Iterator[tuple[slice, int]]:
    """Part windows into runs of even distance."""
    first = 0
    while first < len(starts):
        steps = np.diff(starts[first : first + most])
        step = int(steps[0]) if len(steps) else 0
        other = np.flatnonzero(steps != step)
        # windows that go backwards go alone
        count = (int(other[0]) if len(other) else len(steps)) + 1 if step >= 0 else 1
        yield slice(first, first + count), step
        first += count


def down(block: ImageArray, first: int, step: int, shape: tuple[int, int]) -> ImageArray:
    """View rows as windows one below the other."""
    _inside(first, first + (shape[0] - 1) * step + shape[1], len(block))
    (count, rows), (down_bytes, across_bytes) = shape, block.strides
    return as_strided(
        block[first:],
        (count, rows, block.shape[1]),
        (step * down_bytes, down_bytes, across_bytes),
        writeable=False,
    )


def across(block: ImageArray, terms: int, step: int, shape: tuple[int, int]) -> ImageArray:
    """View columns as windows side by side, each of the rows that belong to one term."""
    (count, columns), (down_bytes, across_bytes) = shape, block.strides
    _inside(0, (count - 1) * step + columns, block.shape[1])
    return as_strided(
        block,
        (terms, count, len(block) // terms, columns),
        (down_bytes, step * across_bytes, terms * down_bytes, across_bytes),
        writeable=False,
    )


def _inside(first: int, last: int, size: int) -> None:
    """Refuse windows that would show memory of others."""
    if first < 0 or last > size:
        msg = f"windows from {first} to {last} do not lie in a block of {size}"
        raise ValueError(msg)
