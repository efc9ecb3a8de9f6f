"""Images brought to other pixels by area: exact means, whether finer or coarser."""

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.forward.reference import Reference
from linesim.setup.arrays import ImageArray

_BLOCK_VALUES = 1 << 24
"""Values of the source held at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """Equal cells in a row, in units of the source's pixels."""

    first_px: float  # where the first cell begins [px]
    step_px: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Which source pixels each cell covers, and how much of each."""

    index: NDArray[np.intp]  # shape (cells, n); source pixels
    weight: NDArray[np.float32]  # shape (cells, n); shares of the cell; each row adds up to 1

    def matrix(self, found: NDArray[np.intp], block: slice) -> "scipy.sparse.csr_array":
        """Give the weights of some cells, as a matrix on the source pixels found."""
        index, weight = self.index[block], self.weight[block]
        cell = np.repeat(np.arange(len(index)), index.shape[1])
        place = np.searchsorted(found, index.ravel())
        return scipy.sparse.csr_array(
            (weight.ravel(), (cell, place)), shape=(len(index), len(found))
        )


def overlap(cells: Cells, pixels: int, *, repeat: bool = False) -> Overlap:
    """Work out what cells cover of a row of pixels."""
    first = cells.first_px + cells.step_px * np.arange(cells.count)
    reach = int(np.ceil(cells.step_px)) + 1
    index = np.floor(first)[:, None] + np.arange(reach)
    covered = np.minimum(index + 1, first[:, None] + cells.step_px) - np.maximum(
        index, first[:, None]
    )
    weight = np.clip(covered, 0, None) / cells.step_px
    whole = index.astype(np.intp)
    return Overlap(
        index=whole % pixels if repeat else np.clip(whole, 0, pixels - 1),
        weight=weight.astype(np.float32),
    )


def _rows(source: Reference, found: NDArray[np.intp]) -> ImageArray:
    """Read some rows, in as few runs as they lie in."""
    runs = np.split(found, np.flatnonzero(np.diff(found) > 1) + 1)
    return np.concatenate([source.rows(int(run[0]), int(run[-1]) + 1) for run in runs])


def area_means(
    source: Reference, down: Cells, across: Cells, *, repeat: bool = False
) -> ImageArray:
    """
    Give the mean of a reference over each cell of a grid.

    Parameters
    ----------
    down, across : Cells; of the grid, in units of the source's pixels
    repeat : bool; go round at the ends; otherwise the border value goes on

    Returns
    -------
    ndarray of float32, shape (down, across) or (down, across, 3); means
    """
    height, width = source.shape[:2]
    rows = overlap(down, height, repeat=repeat)
    columns = overlap(across, width, repeat=repeat)
    seen = np.unique(columns.index)
    sideways = columns.matrix(seen, slice(None))
    step = max(1, int(_BLOCK_VALUES / (width * max(1.0, down.step_px))))
    blocks = []
    for first in range(0, down.count, step):
        block = slice(first, first + step)
        found = np.unique(rows.index[block])
        read = np.take(_rows(source, found), seen, axis=1)
        tall = rows.matrix(found, block) @ read.reshape(len(found), -1)
        planes = np.moveaxis(tall.reshape(len(tall), len(seen), -1), 2, 0)
        blocks.append(np.stack([(sideways @ plane.T).T for plane in planes], axis=-1))
    means = np.concatenate(blocks)
    return np.asarray(means if len(source.shape) > 2 else means[:, :, 0])  # noqa: PLR2004 -- colour
