"""
A coarser reference for a lens that blurs over many pixels: means of square cells of its pixels.

A point that spreads over ten pixels of the camera is the same whether it lies here or a fraction
of a pixel further. Cells stand for their pixels then; weights stay exact integrals, now over a
cell. What gets lost is where in its cell an edge lies: an edge response E(x) is followed by
straight lines between the borders of cells, which errs by h² max|E″|/8 at most, h the side of a
cell (the error of linear interpolation). E″ is the slope of the blurred side of a pixel. Cells are
as large as `EDGE_ERROR` lets them be; where a lens blurs less than `WIDE_PX` they are the pixels.
"""

from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import gcd, hypot, sqrt
from threading import Lock
from typing import Protocol

import numpy as np

from linesim.forward.reference import Reference
from linesim.forward.sampling.across import blurred_sides
from linesim.forward.sampling.fineness import least_side_um
from linesim.forward.sampling.zones import EDGE_ERROR, uneven_keys
from linesim.forward.spread import lens_spread
from linesim.forward.station import Station
from linesim.setup.arrays import ImageArray
from linesim.setup.setup import Setup

WIDE_PX = 4.0
"""Standard deviation of the lens's blur, in pixels of the camera, from which cells may be larger
than a pixel of the reference; our choice."""
_FINE_ROWS = 256
"""Reference rows that are fetched at a time."""
_KEPT_ROWS = 2048
"""Rows of cells that are kept for the next strips, which see most of them again."""


class _Block(Protocol):
    """Gives some rows of cells by the number of their block."""

    def __call__(self, block: int, /) -> ImageArray:
        """Give them, from before or anew."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CoarseReference:
    """
    Cells of a reference.

    Parameters
    ----------
    fine : Reference
    step : int; reference pixels in the side of a cell
    repeat : bool; whether it repeats: both its sides are then a whole number of cells; otherwise
        there is a further cell on each side, of the border's value
    """

    fine: Reference
    step: int
    repeat: bool
    _block: _Block = field(init=False)
    _reads: Lock = field(init=False, default_factory=Lock)

    def __post_init__(self) -> None:
        """Keep the blocks that were worked out last."""
        object.__setattr__(self, "_block", lru_cache(_KEPT_ROWS // self._high + 2)(self._cells))

    @property
    def pixel_size_um(self) -> float:
        """Side of a cell on the target. [µm]."""
        return self.step * self.fine.pixel_size_um

    @property
    def lead_um(self) -> float:
        """Where the reference begins behind the first cell, in either direction. [µm]."""
        return 0.0 if self.repeat else self.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns of cells, and the three colours where it has them."""
        rows, columns, *bands = self.fine.shape
        more = 0 if self.repeat else 2
        return (-(-rows // self.step) + more, -(-columns // self.step) + more, *bands)

    def rows(self, first: int, last: int) -> ImageArray:
        """Give some rows of cells."""
        blocks = range(first // self._high, -(-last // self._high))
        # one thread at a time: the others want the same blocks
        with self._reads:
            found = [self._block(block) for block in blocks]
        low = blocks[0] * self._high
        return np.concatenate(found)[first - low : last - low]

    @property
    def _high(self) -> int:
        """Rows of a block."""
        return max(1, _FINE_ROWS // self.step)

    def _cells(self, block: int) -> ImageArray:
        """Work out some rows of cells."""
        border, size = 0 if self.repeat else 1, self.fine.shape[0]
        cells = min(self._high, self.shape[0] - block * self._high)
        count, wanted = cells * self.step, (block * self._high - border) * self.step
        low, high = np.clip([wanted, wanted + count - 1], 0, size - 1).tolist()
        seen = self.fine.rows(low, high + 1)
        before = min(max(low - wanted, 0), count - len(seen))
        seen = _filled(seen, 0, (before, count - len(seen) - before))
        tall = seen.reshape(cells, self.step, *seen.shape[1:]).mean(axis=1, dtype=np.float32)
        columns = self.shape[1] * self.step
        lead = border * self.step
        wide = _filled(tall, 1, (lead, columns - lead - tall.shape[1]))
        means = wide[:, :: self.step].copy()
        for place in range(1, self.step):
            means += wide[:, place :: self.step]
        means *= np.float32(1 / self.step)
        return means


def _filled(data: ImageArray, axis: int, more: tuple[int, int]) -> ImageArray:
    """Let the border's values go on."""
    if more == (0, 0):
        return data
    widths = [(0, 0)] * data.ndim
    widths[axis] = more
    return np.pad(data, widths, mode="edge")


def coarser(
    setup: Setup, numbers: Station, reference: Reference, off_axis_error: float
) -> Reference:
    """
    Take cells in the place of pixels where a lens blurs so much that they do.

    Parameters
    ----------
    setup : Setup
    numbers : Station; its numbers
    reference : Reference
    off_axis_error : float; error allowed to the lens between its axes

    Returns
    -------
    Reference; the same one where pixels are needed, or the lens blurs places of the line unlike
    """
    if isinstance(reference, CoarseReference):
        return reference
    rows, columns, *_ = reference.shape
    step = cell_side(setup, numbers, (rows, columns), off_axis_error)
    if step == 1:
        return reference
    return CoarseReference(fine=reference, step=step, repeat=setup.target.repeat)


def cell_side(setup: Setup, numbers: Station, shape: tuple[int, int], off_axis_error: float) -> int:
    """Give the side of the cells in whose place pixels of a reference stand; 1 where all count."""
    if uneven_keys(setup):
        return 1
    pitch_um = setup.target.pixel_size_um
    step = min(_most_step(setup, one, pitch_um, off_axis_error) for one in numbers.by_colour)
    if not setup.target.repeat:
        return step
    both = gcd(*shape)
    return max(each for each in range(1, min(step, both) + 1) if both % each == 0)


def cell_bytes(step: int, columns: int) -> int:
    """Count what is held of cells, and of the pixels while they are made, of one colour."""
    wide = -(-columns // step) + 2
    high = max(1, _FINE_ROWS // step)
    # rows as they are and with the border before or behind, their means with and without it
    made = 4 * (2 * high * step * columns + 2 * high * wide * step)
    return made + 4 * wide * high * (_KEPT_ROWS // high + 2)


def _most_step(setup: Setup, one: Station, pitch_um: float, off_axis_error: float) -> int:
    """Give the side of the largest cells that one channel may see, in reference pixels."""
    place, flutter_mm = one.geometry, setup.transport.flutter_mm
    # where a web flutters, the height that comes nearest to best focus decides
    away_mm = max(abs(round(float(one.optics.defocus_mm), 9)) - flutter_mm, 0.0)
    lens = replace(one.optics, defocus_mm=away_mm)
    m, longest_um = float(lens.magnification), max(place.object_pixel_x_um, place.row_side_um)
    # a disc has a quarter of its diameter for a standard deviation
    if hypot(lens.blur_um, lens.defocus_disc_um / 4) / m < WIDE_PX * longest_um:
        return 1
    side_um = least_side_um(one)
    spread = lens_spread(lens, side_um, off_axis_error)
    feet = [blurred_sides(each, side_um, 1, 0.0)[0] for each in (spread.terms, spread.along)]
    slope = max(float(np.abs(np.diff(foot.density_per_um)).max()) / foot.step_um for foot in feet)
    return max(1, int(sqrt(8 * EDGE_ERROR / slope) / pitch_um))
