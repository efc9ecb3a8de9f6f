"""Detection for very many options: what is costly is worked out once for each blur they have."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.budget.detection import Search
from linesim.forward.station import Station
from linesim.metrics.detection import wanted_dprime
from linesim.setup.arrays import FloatArray
from linesim.study.front import alike
from linesim.study.size_table import integrals, smallest_found_um
from linesim.study.station_arrays import leaves, mapped
from linesim.study.stations import Way, picked

Places = NDArray[np.intp]
_SAME_DIGITS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Signals:
    """
    What detection asks of options.

    Parameters
    ----------
    blurs : Station
        One station of each blur; arrays of shape (k, 1).
    blur : ndarray of int, shape (n,)
        Which of these an option has.
    noise, streaks : ndarray of shape (n, colours)
        Squares of noise, and of streaks, over the depth of the defect; noise is infinite where
        there is no depth.
    wanted : ndarray of shape (n, colours)
        Detectability to be reached, d'.
    """

    blurs: Station
    blur: Places
    noise: FloatArray
    streaks: FloatArray
    wanted: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """
    What options find, the weakest colour each.

    Parameters
    ----------
    smallest_um : ndarray of shape (n,)
        Size found at the wanted rates; infinite without light. [µm]
    dprime : ndarray of shape (n,), or None
        Of the requirement's smallest defect, where it names one.
    met : ndarray of shape (n,)
        Whether that is what is wanted, in every colour; true where none is named.
    """

    smallest_um: FloatArray
    dprime: FloatArray | None
    met: NDArray[np.bool_]


def signals_of(way: Way, flat: Places, wanted: Search) -> Signals:
    """
    Take out of some options of a way what detection asks.

    Parameters
    ----------
    way : Way
        The options.
    flat : ndarray of int, shape (n,)
        Places of those that are still in question.
    wanted : Search
        What is looked for.

    Returns
    -------
    Signals
        In the order of ``flat``.
    """
    numbers = picked(way, flat)
    white_e = np.asarray(numbers.electrons_white)
    depth_e = wanted.contrast * white_e
    lit = depth_e > 0
    per_e2 = np.square(1 / np.where(lit, depth_e, 1.0))
    needed = wanted_dprime(numbers, wanted.detection_rate, wanted.false_alarms_per_m2)
    first, blur = _same(_blur_columns(numbers))
    return Signals(
        blurs=mapped(numbers, lambda leaf: leaf[first, :1]),
        blur=blur,
        noise=np.where(lit, per_e2 * numbers.noise_e(white_e) ** 2, np.inf),
        streaks=per_e2 * numbers.pattern_e(white_e) ** 2,
        wanted=np.broadcast_to(needed, white_e.shape),
    )


def joined(parts: Sequence[Signals]) -> Signals:
    """
    Put options of several ways together.

    Parameters
    ----------
    parts : sequence of Signals
        At least one.

    Returns
    -------
    Signals
        In that order; a blur that several have stands once.
    """
    leaves_of = zip(*(leaves(part.blurs) for part in parts), strict=True)
    columns = iter([np.concatenate(each) for each in leaves_of])
    blurs = mapped(parts[0].blurs, lambda _: next(columns))
    counts = [int(part.blur.max()) + 1 for part in parts]
    starts = np.cumsum([0, *counts[:-1]])
    first, once = _same(_blur_columns(blurs))
    blur = np.concatenate([part.blur + start for part, start in zip(parts, starts, strict=True)])
    return Signals(
        blurs=mapped(blurs, lambda leaf: leaf[first]),
        blur=once[blur],
        noise=_stacked([part.noise for part in parts]),
        streaks=_stacked([part.streaks for part in parts]),
        wanted=_stacked([part.wanted for part in parts]),
    )


def _stacked(tables: list[FloatArray]) -> FloatArray:
    """Stack tables of options, with as many colours as the widest has."""
    colours = max(table.shape[1] for table in tables)
    return np.concatenate([np.broadcast_to(each, (len(each), colours)) for each in tables])


def _blur_columns(numbers: Station) -> list[FloatArray]:
    """Give all numbers that decide how a defect is blurred and sampled."""
    place, when, lens = numbers.geometry, numbers.timing, numbers.optics
    columns = (
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
    )
    return [np.asarray(column, dtype=np.float64)[:, 0] for column in columns]


def _same(columns: list[FloatArray]) -> tuple[Places, Places]:
    """Sort rows into classes: the first row of each, and the class of every row."""
    code = np.zeros(len(columns[0]), dtype=np.intp)
    for column in columns:
        if np.ptp(column) > 0:
            values, mine = np.unique(alike(column, _SAME_DIGITS), return_inverse=True)
            code = np.unique(code * len(values) + mine, return_inverse=True)[1]
    _, first, code = np.unique(code, return_index=True, return_inverse=True)
    return first, code


def seen_by(signals: Signals, wanted: Search) -> Seen:
    """
    Work out what each option finds.

    Parameters
    ----------
    signals : Signals
        Of the options.
    wanted : Search
        What is looked for.

    Returns
    -------
    Seen
        In the order of the options.
    """
    asked = np.square(np.maximum(signals.wanted, 0.0))
    size_um = np.zeros(len(signals.blur))
    for colour in range(asked.shape[1]):
        found_um = smallest_found_um(
            signals.blurs,
            wanted.of_width,
            signals.blur,
            asked[:, colour] * signals.noise[:, colour],
            asked[:, colour] * signals.streaks[:, colour],
        )
        size_um = np.maximum(size_um, found_um)
    width_um = wanted.width_um
    if width_um is None:
        return Seen(smallest_um=size_um, dprime=None, met=np.ones(size_um.shape, dtype=np.bool_))
    count = int(signals.blur.max()) + 1
    found = integrals(signals.blurs, wanted.of_width, np.full((count, 1), width_um))
    own, columns = (np.asarray(e)[signals.blur] for e in (found.samples, found.columns))
    dprime = own / np.sqrt(signals.noise * own + signals.streaks * columns)
    return Seen(
        smallest_um=size_um,
        dprime=dprime.min(axis=1),
        met=(dprime >= signals.wanted).all(axis=1),
    )
