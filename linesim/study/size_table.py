"""
The size that is just found, for very many signals behind few blurs.

S = Σs² and C = Σ_columns(Σ_lines s)² of `linesim.metrics.detection` are integrals over frequencies.
They depend on the size of a defect and on the blur, not on light and noise. For each blur they are
tabulated over the size, as Chebyshev series of ln S and ln C over ln size, piece by piece; the size
at which S² = noise · S + streaks · C then follows for every signal from the series alone.

A first, wide table finds the range of sizes that the signals ask for, a second one covers it.
Up to 30 object pixels the size is then right to 10⁻⁴ in usual stations, and to 5·10⁻⁴ in any that
was drawn at random, a quarter of what the integrals are.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.defect_energy import Energies, energies
from linesim.metrics.defect_shapes import Shape
from linesim.setup.arrays import FloatArray
from linesim.study.station_arrays import mapped

OfWidth = Callable[[Figure], Shape]
Places = NDArray[np.intp]
_WIDEST = (0.01, 1000.0)
"""Sizes looked at, in object pixels; what needs a larger one does not count as found."""
_NODES = 8
"""Of the series of one piece."""
_WIDE_PIECES = 4
_PIECE = 1.0
"""Of ln size, in the second table."""
_MARGIN = 0.05
"""Of ln size, over the error of the wide table."""
_STEPS = 40
_CLOSE = 1e-11
_STEEPEST, _FLATTEST = 4.0, 0.25
"""Slopes that ln d' over ln size is taken to keep to while searching."""
_INTEGRALS = 256
"""Worked out at once, with 1024 frequencies each, so that they stay in the cache."""
_SIGNALS = 65_536
_WORKERS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Table:
    """Equal pieces over a range of ln size for each of k blurs; series: (nodes, k x pieces)."""

    low: FloatArray
    high: FloatArray
    pieces: int
    samples: FloatArray
    columns: FloatArray

    def at(self, blur: Places, log_um: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give ln S and ln C."""
        low, high = self.low[blur], self.high[blur]
        place = (log_um - low) / (high - low) * self.pieces
        piece = np.clip(place.astype(np.intp), 0, self.pieces - 1)
        inside, series = 2 * (place - piece) - 1, blur * self.pieces + piece
        log_s = chebyshev.chebval(inside, self.samples[:, series], tensor=False)
        log_c = chebyshev.chebval(inside, self.columns[:, series], tensor=False)
        return np.asarray(log_s), np.asarray(log_c)


def integrals(blurs: Station, of_width: OfWidth, width_um: FloatArray) -> Energies:
    """
    Work out the integrals for many sizes behind many blurs.

    Parameters
    ----------
    blurs : Station
        Arrays of shape (k, 1).
    of_width : callable
        Gives the shape of a width.
    width_um : ndarray of shape (k, m)
        Sizes behind each blur. [µm]

    Returns
    -------
    Energies
        Arrays of shape (k, m).
    """
    step = max(1, _INTEGRALS // width_um.shape[1])
    parts = [slice(start, start + step) for start in range(0, len(width_um), step)]

    def of_part(part: slice) -> Energies:
        return energies(mapped(blurs, lambda leaf: leaf[part]), of_width(width_um[part]))

    with ThreadPoolExecutor(_WORKERS) as pool:
        found = list(pool.map(of_part, parts))
    return Energies(
        samples=np.concatenate([np.broadcast_to(e.samples, np.shape(e.samples)) for e in found]),
        columns=np.concatenate([np.broadcast_to(e.columns, np.shape(e.columns)) for e in found]),
    )


def smallest_found_um(
    blurs: Station, of_width: OfWidth, blur: Places, noise: FloatArray, streaks: FloatArray
) -> FloatArray:
    """
    Find the size at which S² = noise · S + streaks · C.

    Parameters
    ----------
    blurs : Station
        Arrays of shape (k, 1).
    of_width : callable
        Gives the shape of a width.
    blur : ndarray of int, shape (n,)
        Which blur a signal has; each of the k has at least one.
    noise, streaks : ndarray of shape (n,)
        Squares of the wanted detectability times noise, and times streaks, over the depth of the
        defect; infinite without light, 0 where nothing is asked for.

    Returns
    -------
    ndarray of shape (n,)
        0 where nothing is asked for, infinite where no size is found. [µm]
    """
    size_um = np.where(noise > 0, np.inf, 0.0)
    asked = np.flatnonzero((noise > 0) & np.isfinite(noise))
    if asked.size == 0:
        return size_um
    pixel_um = np.log(np.asarray(blurs.geometry.object_pixel_x_um)[:, 0])
    low, high = (pixel_um + np.log(end) for end in _WIDEST)
    wide = _table(blurs, of_width, (low, high), _WIDE_PIECES)
    least, most = (_extremes(blur[asked], values[asked], len(low)) for values in (noise, streaks))
    every = np.arange(len(low))
    ends = [_log_size(wide, every, least[k], most[k]) for k in range(2)]
    low, high = np.maximum(ends[0] - _MARGIN, low), np.minimum(ends[1] + _MARGIN, high)
    fine = _table(blurs, of_width, (low, high), int(np.ceil((high - low).max() / _PIECE)))
    for start in range(0, asked.size, _SIGNALS):
        part = asked[start : start + _SIGNALS]
        found = _log_size(fine, blur[part], noise[part], streaks[part])
        beyond = found >= (pixel_um + np.log(_WIDEST[1]))[blur[part]]
        size_um[part] = np.where(beyond, np.inf, np.exp(found))
    return size_um


def _extremes(blur: Places, values: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Give the smallest and the largest value behind each blur; 1 where there is none."""
    low, high = np.full(count, np.inf), np.zeros(count)
    np.minimum.at(low, blur, values)
    np.maximum.at(high, blur, values)
    none = ~np.isfinite(low)
    return np.where(none, 1.0, low), np.where(none, 1.0, high)


def _table(
    blurs: Station, of_width: OfWidth, ends: tuple[FloatArray, FloatArray], pieces: int
) -> _Table:
    low, high = ends
    inside = np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)
    share = ((np.arange(pieces)[:, None] + (inside + 1) / 2) / pieces).ravel()
    log_um = low[:, None] + (high - low)[:, None] * share
    found = integrals(blurs, of_width, np.exp(log_um))
    series = np.linalg.inv(chebyshev.chebvander(inside, _NODES - 1))
    samples, columns = (
        np.ascontiguousarray(series @ np.log(np.asarray(values)).reshape(-1, _NODES).T)
        for values in (found.samples, found.columns)
    )
    return _Table(low=low, high=high, pieces=pieces, samples=samples, columns=columns)


def _log_size(table: _Table, blur: Places, noise: FloatArray, streaks: FloatArray) -> FloatArray:
    """Find ln size by secants, within the table's range."""
    low, high = table.low[blur], table.high[blur]

    def left_over(log_um: FloatArray) -> FloatArray:
        log_s, log_c = table.at(blur, log_um)
        return np.asarray(log_s - np.log(noise * np.exp(log_s) + streaks * np.exp(log_c)) / 2)

    middle = (low + high) / 2
    place, slope, left = middle, np.full_like(middle, 1.0), left_over(middle)
    for _ in range(_STEPS):
        moved_to = np.clip(place - left / slope, low, high)
        step, before = moved_to - place, left
        if np.all(np.abs(step) < _CLOSE):
            break
        place, left = moved_to, left_over(moved_to)
        useful = np.abs(step) > _CLOSE
        seen = np.where(useful, (left - before) / np.where(useful, step, 1.0), slope)
        slope = np.clip(seen, _FLATTEST, _STEEPEST)
    return place
