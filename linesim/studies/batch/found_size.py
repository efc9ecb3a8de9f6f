"""
The size that is just found, for very many options at once.

A wide table, from a hundredth of an object pixel to a thousand, gives to a few percent which sizes
the options ask for; a second one covers these. On it each option's size is the root of
ln d' − ln d'_wanted over ln size, d'_wanted being that of the search for a defect of that size: a
start by a fixed d', then secants of options that still move. Up to 30 object pixels sizes are
then right to 10⁻⁴ in usual stations, and to 5·10⁻⁴ in any that was drawn at random, a quarter of
what the integrals are; of scratches, whose integrals are right to 0.005, and on texture, to 10⁻³.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from linesim.metrics.detection.ground import Ground
from linesim.metrics.detection.search import threshold_for, wanted_dprime
from linesim.metrics.detection.sighting import Sighting, sighting
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.size_table import COARSE, WORKERS, Reader, Seen, SizeTable, size_table
from linesim.studies.batch.station_arrays import Places, mapped

WIDEST = (0.01, 1000.0)
"""Sizes tried, in object pixels; what needs a larger one does not count as found."""
_WIDE_PIECES = 2
_PIECE = 1.0
"""Of ln size, in the second table."""
_ROOMS = (0.15, 0.6, 12.0)
"""Of ln size, over the error of the first search; more where a size lies beyond after all."""
_USUAL = 7.0
"""A detectability near those that are wanted, for a start."""
_STEPS = 40
_CLOSE = 1e-6
_SETTLED = 1e-9
_STEEPEST, _FLATTEST = 4.0, 0.25
"""Slopes that ln d' over ln size is taken to keep to while searching."""
_AT_ONCE = 4096


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """What options ask of a size."""

    blur: Places  # shape (n,); which blur an option has
    base: Ground  # what the defect lies on, each number of shape (n,)
    alarms: FloatArray  # shape (n,); false alarms allowed, a sample
    rate: float  # share of the defects to find

    @property
    def log_ratio(self) -> FloatArray:
        """Logarithm of the product's level over its noise, as limits leave them."""
        level_e = np.maximum(np.multiply(self.base.slope, self.base.level_e), 1e-300)
        return np.asarray(np.log(level_e / self.base.noise_e))

    def wanted(self, found: Sighting) -> FloatArray:
        """Give the detectability to be reached by what is sighted."""
        return wanted_dprime(found.bank, self.rate, threshold_for(found.bank, self.alarms))

    def some(self, part: slice | Places) -> "Asked":
        """Take some of the options."""
        return replace(
            self,
            blur=self.blur[part],
            base=mapped(self.base, lambda leaf: leaf[part]),
            alarms=self.alarms[part],
        )


def smallest_found_um(seen: Seen, asked: Asked) -> FloatArray:
    """Find the size at which each option finds as surely as is wanted."""
    size_um = np.full(asked.blur.shape, np.inf)
    lit = np.flatnonzero(np.asarray(asked.base.depth_e) > 0)
    if lit.size == 0:
        return size_um
    some = asked.some(lit)
    pixel = np.log(seen.pixel_um)
    low, high = (pixel + np.log(end) for end in WIDEST)
    wide = size_table(seen, (low, high), _WIDE_PIECES, COARSE)
    start = by_parts(some, lambda part, at: _start(wide, part, at), np.zeros(lit.size))
    least, most = _extremes(some.blur, start, (low, high))
    for room in _ROOMS:
        ends = np.maximum(least - room, low), np.minimum(most + room, high)
        fine = size_table(seen, ends, max(1, int(np.ceil((ends[1] - ends[0]).max() / _PIECE))))
        found = by_parts(some, lambda part, at, table=fine: _settled(table, part, at), start)  # type: ignore[misc]
        below, above = (each[some.blur] for each in ends)
        at_low = (found <= below) & (below > low[some.blur])
        at_high = (found >= above) & (above < high[some.blur])
        if not np.any(at_low | at_high):
            break
    size_um[lit] = np.where(found >= high[some.blur], np.inf, np.exp(found))
    return size_um


Work = Callable[[Asked, FloatArray], FloatArray]


def by_parts(asked: Asked, work: Work, start: FloatArray) -> FloatArray:
    """Work through options part by part, in threads, which change nothing."""
    parts = [slice(k, k + _AT_ONCE) for k in range(0, start.size, _AT_ONCE)]
    with ThreadPoolExecutor(WORKERS) as pool:
        found = pool.map(lambda part: work(asked.some(part), start[part]), parts)
        return np.concatenate(list(found), axis=-1)


def _extremes(
    blur: Places, log_um: FloatArray, ends: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Give the smallest and the largest size behind each blur; one of the middle where idle."""
    count = len(ends[0])
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, blur, log_um)
    np.maximum.at(high, blur, log_um)
    idle = ~np.isfinite(low)
    middle = (ends[0] + ends[1]) / 2
    return np.where(idle, middle, low), np.where(idle, middle, high)


def _start(table: SizeTable, asked: Asked, _: FloatArray) -> FloatArray:
    """Find where a usual d' is reached, and move by what the search there wants."""
    reader = table.reader(asked.blur, asked.log_ratio)
    low, high = reader.low, reader.high

    def seen_at(log_um: FloatArray) -> Sighting:
        return sighting(reader.at(log_um), asked.base)

    place, slope = (low + high) / 2, np.full(low.shape, 1.0)
    found = seen_at(place)
    left = np.log(found.dprime / _USUAL)
    for _step in range(_STEPS):
        moved_to = np.clip(place - left / slope, low, high)
        step, before = moved_to - place, left
        if np.all(np.abs(step) < _CLOSE):
            break
        place, found = moved_to, seen_at(moved_to)
        left = np.log(found.dprime / _USUAL)
        slope = _slope(step, left - before, slope)
    return np.asarray(np.clip(place + np.log(asked.wanted(found) / _USUAL) / slope, low, high))


def _settled(table: SizeTable, asked: Asked, start: FloatArray) -> FloatArray:
    """Find where the wanted d' is reached; options that have settled are left alone."""
    reader = table.reader(asked.blur, asked.log_ratio)
    low, high = reader.low, reader.high
    place, slope = np.clip(start, low, high), np.full(start.shape, 1.0)
    moving = np.arange(place.size)
    left = _left(reader, asked, place, moving)
    for _step in range(_STEPS):
        aim = np.clip(place[moving] - left[moving] / slope[moving], low[moving], high[moving])
        step = aim - place[moving]
        place[moving] = aim
        far = np.abs(step) > _CLOSE
        moving, step = moving[far], step[far]
        if moving.size == 0:
            break
        before = left[moving]
        left[moving] = _left(reader, asked, place[moving], moving)
        slope[moving] = _slope(step, left[moving] - before, slope[moving])
    return place


def _left(reader: Reader, asked: Asked, log_um: FloatArray, some: Places) -> FloatArray:
    """By how much ln d' exceeds what is wanted of a defect of that size."""
    mine = asked.some(some)
    found = sighting(reader.at(log_um, some), mine.base)
    return np.asarray(np.log(found.dprime / mine.wanted(found)))


def _slope(step: FloatArray, rise: FloatArray, before: FloatArray) -> FloatArray:
    """Slope of a secant, within what slopes can be; the one before where nothing moved."""
    useful = np.abs(step) > _SETTLED
    seen = np.where(useful, rise / np.where(useful, step, 1.0), before)
    return np.asarray(np.clip(seen, _FLATTEST, _STEEPEST))
