"""Detection for very many options: what is costly is worked out once for each blur they have."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from linesim.figures.detection import Search
from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.detection.ground import Ground, ground
from linesim.metrics.detection.sighting import cell_m2, sighting
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.found_size import Asked, by_parts, smallest_found_um
from linesim.studies.batch.size_table import Seen, size_table
from linesim.studies.batch.station_arrays import Places, alike, joined, leaves, mapped
from linesim.studies.batch.stations import Block

_SAME_DIGITS = 12
_ROOM = 1e-6
"""Of the logarithm of level over noise, at either end of a table."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Signals:
    """What detection asks of options."""

    blurs: Station  # one station of each blur; arrays of shape (k, 1)
    blur: Places  # shape (n, 1); which of these an option has
    base: Ground  # the product under the defect, each number of shape (n, colours)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What options find, the weakest colour each."""

    # shape (n,); size found at the wanted rates; infinite without light [µm]
    smallest_um: FloatArray
    # shape (n,); of the requirement's smallest defect, where it names one
    dprime: FloatArray | None
    # shape (n,); whether that is what is wanted, in every colour; true where none is named
    met: NDArray[np.bool_]


def signals_of(block: Block, *, ends: bool) -> Signals:
    """Take out of some options what detection asks, in the middle of the line or at its ends."""
    numbers, wanted = block.numbers, block.wanted
    if ends:
        numbers, wanted = numbers.at_ends, wanted.at_ends
    base = ground(numbers, wanted.product, wanted.contrast)
    columns = [np.atleast_2d(column) for column in _blur_columns(numbers)]
    colours = max(column.shape[1] for column in columns)
    each = partial(_flat, shape=(len(block.index), colours))
    first, blur = _same([each(column) for column in columns])
    shape = np.broadcast_shapes((len(block.index), 1), *map(np.shape, leaves(base)))
    return Signals(
        blurs=mapped(numbers, lambda leaf: each(leaf)[first, None]),
        blur=blur.reshape(-1, colours),
        base=mapped(base, lambda leaf: np.broadcast_to(leaf, shape)),
    )


def _flat(leaf: Figure, shape: tuple[int, int]) -> FloatArray:
    """Give every station and colour its number, one after the other."""
    own = np.atleast_2d(leaf)[:, : shape[1]]
    return np.broadcast_to(own, shape).astype(np.float64).ravel()


def together(parts: Sequence[Signals]) -> Signals:
    """Put options of several blocks together, in order; a blur that several have stands once."""
    counts = [int(part.blur.max()) + 1 for part in parts]
    blurs = joined([part.blurs for part in parts], counts)
    starts = np.cumsum([0, *counts[:-1]])
    each = partial(_flat, shape=(sum(counts), 1))
    first, once = _same([each(column) for column in _blur_columns(blurs)])
    colours = max(part.blur.shape[1] for part in parts)
    blur = np.concatenate(
        [
            np.broadcast_to(part.blur + start, (len(part.blur), colours))
            for part, start in zip(parts, starts, strict=True)
        ]
    )
    return Signals(
        blurs=mapped(blurs, lambda leaf: leaf[first]),
        blur=once[blur],
        base=joined([part.base for part in parts], [len(part.blur) for part in parts]),
    )


def _blur_columns(numbers: Station) -> tuple[Figure, ...]:
    """Give all numbers that decide how a defect is blurred and sampled."""
    place, when, lens = numbers.geometry, numbers.timing, numbers.optics
    sensor = numbers.sensor
    return (
        place.object_pixel_x_um,
        place.row_side_um,
        place.lines_joined,
        place.stages,
        when.line_advance_um,
        numbers.motion_um,
        lens.magnification,
        lens.f_number,
        lens.wavelength_um,
        lens.blur_um,
        lens.defocus_mm,
        lens.more_across_um,
        lens.more_along_um,
        sensor.lag,
        sensor.inefficiency,
        sensor.crosstalk,
        # how wide a physical pixel is counts only where it has a share of its neighbours
        place.across * np.asarray(np.asarray(sensor.crosstalk) > 0, dtype=np.float64),
    )


def _same(columns: list[FloatArray]) -> tuple[Places, Places]:
    """Sort rows into classes: the first row of each, and the class of every row."""
    code = np.zeros(len(columns[0]), dtype=np.intp)
    for column in columns:
        if np.ptp(column) > 0:
            values, mine = np.unique(alike(column, _SAME_DIGITS), return_inverse=True)
            code = np.unique(code * len(values) + mine, return_inverse=True)[1]
    _, first, code = np.unique(code, return_index=True, return_inverse=True)
    return first, code


def found_by(signals: Signals, wanted: Search) -> Found:
    """Work out what each option finds."""
    size_um = np.zeros(len(signals.blur))
    dprime, met = np.full(size_um.shape, np.inf), np.ones(size_um.shape, dtype=np.bool_)
    for asked, seen in _by_colour(signals, wanted):
        size_um = np.maximum(size_um, smallest_found_um(seen, asked))
        if wanted.width_um is not None:
            mine, ratio = _of_own_size(seen, asked, float(wanted.width_um))
            dprime, met = np.minimum(dprime, mine), met & (ratio >= 1)
    return Found(smallest_um=size_um, dprime=None if wanted.width_um is None else dprime, met=met)


def dprime_share(signals: Signals, wanted: Search) -> FloatArray:
    """
    Give d' over that which finds the smallest defect as wanted, of the weakest colour: 1 finds it.

    Returns
    -------
    ndarray of shape (n,)
    """
    share = np.full(len(signals.blur), np.inf)
    for asked, seen in _by_colour(signals, wanted):
        share = np.minimum(share, _of_own_size(seen, asked, float(wanted.width_um or 0.0))[1])
    return share


def _by_colour(signals: Signals, wanted: Search) -> Iterator[tuple[Asked, Seen]]:
    alarms = wanted.false_alarms_per_m2 * np.asarray(cell_m2(signals.blurs))[:, 0]
    for colour in range(np.shape(signals.base.level_e)[1]):
        blur = signals.blur[:, min(colour, signals.blur.shape[1] - 1)]
        asked = Asked(
            blur=blur,
            base=mapped(signals.base, lambda leaf, colour=colour: leaf[:, colour]),
            alarms=alarms[blur],
            rate=float(wanted.detection_rate),
        )
        yield asked, _seen(signals.blurs, wanted, asked)


def _seen(blurs: Station, wanted: Search, asked: Asked) -> Seen:
    lit = asked.log_ratio[np.asarray(asked.base.depth_e) > 0]
    ends = (float(lit.min()) - _ROOM, float(lit.max()) + _ROOM) if lit.size else (0.0, 0.0)
    return Seen(blurs=blurs, of_width=wanted.of_width, texture=wanted.texture, ratios=ends)


def _of_own_size(seen: Seen, asked: Asked, width_um: float) -> tuple[FloatArray, FloatArray]:
    """Give d' of the smallest defect itself, and that over what finds it as surely as wanted."""
    size = np.full(seen.count, np.log(width_um))
    table = size_table(seen, (size, size), 1)

    def seen_at(part: Asked, log_um: FloatArray) -> FloatArray:
        found = sighting(table.reader(part.blur, part.log_ratio).at(log_um), part.base)
        lit = np.asarray(part.base.depth_e) > 0
        dprime = np.where(lit, found.dprime, 0.0)
        return np.stack([dprime, dprime / part.wanted(found)])

    dprime, ratio = by_parts(asked, seen_at, np.full(asked.blur.shape, np.log(width_um)))
    return dprime, ratio
