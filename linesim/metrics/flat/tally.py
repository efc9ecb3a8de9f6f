"""
What the samples of an image add up to, strip by strip, as whole numbers.

Whole numbers add up to the same sum in any order, so a scan that is read back from its file gives
the very figures that one in memory gives, however it is cut.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

BLOCK_SAMPLES = 1 << 20
"""Samples added up at a time."""


class ImageRows(Protocol):
    """One face for samples in memory and in a file."""

    @property
    def shape(self) -> tuple[int, ...]:
        """(lines, width) or (lines, width, 3)."""

    def rows(self, first: int, last: int) -> NDArray[np.uint16]:
        """Delivered samples of lines ``first`` to ``last`` (exclusive). [DN]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeldRows:
    """Samples in memory."""

    image_dn: NDArray[np.uint16]  # shape (lines, width); samples as delivered [DN]

    @property
    def shape(self) -> tuple[int, ...]:
        """(lines, width) or (lines, width, 3)."""
        return self.image_dn.shape

    def rows(self, first: int, last: int) -> NDArray[np.uint16]:
        """Give a view of some lines. [DN]."""
        return self.image_dn[first:last]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ColumnSums:
    """Sums along each column of an image."""

    lines: int
    sum_dn: NDArray[np.int64]  # shape (width,); of the samples [DN]
    sum_dn2: NDArray[np.int64]  # of the same shape; of their squares; holds up to 2³¹ lines [DN²]

    @property
    def samples(self) -> int:
        """Samples of all columns."""
        return self.lines * self.sum_dn.size

    def of(self, columns: NDArray[np.bool_], channel: int | None = None) -> "ColumnSums":
        """Give some of the columns, of a colour image those of one channel."""
        chosen = columns if channel is None else (columns, channel)
        return ColumnSums(
            lines=self.lines, sum_dn=self.sum_dn[chosen], sum_dn2=self.sum_dn2[chosen]
        )

    def mean_dn(self) -> float:
        """Mean sample. [DN]."""
        return float(Fraction(_whole(self.sum_dn), self.samples))

    def variance_dn2(self) -> float:
        """Variance of all samples, with n − 1. [DN²]."""
        count, total = self.samples, _whole(self.sum_dn)
        return float(Fraction(count * _whole(self.sum_dn2) - total**2, count * (count - 1)))

    def column_variance_dn2(self) -> float:
        """Variance along each column, with n − 1, averaged over the columns. [DN²]."""
        n = self.lines
        # Σ (n Σx² − (Σx)²) over the columns, in whole numbers without an end
        squares = sum(total**2 for total in self.sum_dn.ravel().tolist())
        spread = n * _whole(self.sum_dn2) - squares
        return float(Fraction(spread, n * (n - 1) * self.sum_dn.size))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tally:
    """What an image adds up to."""

    lowest_dn: int
    highest_dn: int
    at_zero: int
    at_full_scale: int
    columns: ColumnSums


def _whole(sums: NDArray[np.int64]) -> int:
    """Add up without an end to the whole numbers."""
    return sum(sums.ravel().tolist())


def tally(image: ImageRows, full_scale_dn: int) -> Tally:
    """Add up the samples of an image, a few lines at a time; the same however it is cut."""
    lines, *across = image.shape
    total, squares = np.zeros(across, dtype=np.int64), np.zeros(across, dtype=np.int64)
    lows, highs, zero, full = [], [], 0, 0
    for block in blocks(image):
        total += block.sum(axis=0, dtype=np.int64)
        # the square of 16 bits has 32
        wide = block.astype(np.uint32)
        squares += np.square(wide, out=wide).sum(axis=0, dtype=np.int64)
        lows.append(int(block.min()))
        highs.append(int(block.max()))
        zero += int(np.count_nonzero(block == 0))
        full += int(np.count_nonzero(block >= full_scale_dn))
    return Tally(
        lowest_dn=min(lows),
        highest_dn=max(highs),
        at_zero=zero,
        at_full_scale=full,
        columns=ColumnSums(lines=lines, sum_dn=total, sum_dn2=squares),
    )


def blocks(image: ImageRows) -> Iterator[NDArray[np.uint16]]:
    """Walk through an image."""
    lines, *across = image.shape
    step = max(1, BLOCK_SAMPLES // int(np.prod(across)))
    for first in range(0, lines, step):
        yield image.rows(first, min(first + step, lines))
