"""
Many stations at once: what is told in words goes through the door, numbers become arrays.

A way is one combination of words (binning, camera, spectrum). It goes through the door like any
setup. The numbers of the axes (light, speed, f-number) are then put behind the door as arrays, one
dimension an axis, and the same `station` that serves one setup gives the numbers of all. One more
dimension, the last, holds the colours.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.figures.detection import Search, search
from linesim.forward.geometry import Figure, timing
from linesim.forward.station import Station, stations
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.batch.axes import SHARE, Axis, field_of, parted
from linesim.studies.batch.options import changes_of
from linesim.studies.batch.station_arrays import mapped
from linesim.studies.rank.space import Space
from linesim.targets.load import target_size

Parts = tuple[tuple[int, ...], ...]
"""Places of points, one tuple an axis."""
_AT_ONCE = 200_000
"""Options worked out at once, which bounds the memory."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Way:
    """
    One combination of words, with all the numbers that go with it.

    Parameters
    ----------
    setup : Setup
        Checked; its numbers are arrays of one dimension an axis, and one more.
    numbers : Station
        The same in numbers; the last dimension is that of the colours.
    wanted : Search
        What is looked for there; levels of the product broadcast with the numbers.
    index : ndarray of int, shape one an axis
        Which option of the space each is.
    possible : ndarray of bool
        Where the dead time leaves something to expose in; broadcasts with the numbers.
    """

    setup: Setup
    numbers: Station
    wanted: Search
    index: NDArray[np.intp]
    possible: NDArray[np.bool_]

    @property
    def shape(self) -> tuple[int, ...]:
        """Numbers along each axis."""
        return self.index.shape

    @property
    def even(self) -> bool:
        """Whether all its stations are evenly lit: their ends are as their middle."""
        return bool(np.all(np.asarray(self.numbers.ends) == 1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refused:
    """
    A combination of words that is no setup.

    Parameters
    ----------
    why : str
        The door's first sentence.
    index : ndarray of int
        Options that it stands for.
    """

    why: str
    index: NDArray[np.intp]


def picked(way: Way, flat: NDArray[np.intp]) -> Station:
    """
    Take some stations out of many.

    Parameters
    ----------
    way : Way
        All of them.
    flat : ndarray of int, shape (n,)
        Places in its index, counted through.

    Returns
    -------
    Station
        Arrays of shape (n, 1), or (n, 3) where colours differ.
    """
    return mapped(way.numbers, lambda leaf: picked_values(way, flat, leaf))


def picked_values(way: Way, flat: NDArray[np.intp], values: Figure) -> FloatArray:
    """Take some values out of those of many stations."""
    table = np.asarray(values, dtype=np.float64)
    colours = table.shape[-1] if table.ndim else 1
    places = np.unravel_index(flat, way.shape)
    return np.asarray(np.broadcast_to(table, (*way.shape, colours))[places])


def sought(way: Way, flat: NDArray[np.intp]) -> Search:
    """
    Take out of many stations what is looked for at some.

    Parameters
    ----------
    way : Way
        All of them.
    flat : ndarray of int, shape (n,)
        Places in its index, counted through.

    Returns
    -------
    Search
        Its levels of shape (n, 1) or (n, 3).
    """
    wanted = way.wanted
    return replace(
        wanted,
        product=picked_values(way, flat, wanted.product),
        brightest=picked_values(way, flat, wanted.brightest),
    )


def ways(space: Space) -> Iterator[Way | Refused]:
    """
    Work out all options of a space, one combination of words after the other.

    Parameters
    ----------
    space : Space
        What may be chosen.

    Yields
    ------
    Way or Refused
        Together they hold every option once.
    """
    strides = np.cumprod((1, *space.shape[:0:-1]))[::-1]
    for parts in _blocks(space):
        grids = np.ix_(*(np.array(part, dtype=np.intp) for part in parts))
        index = np.asarray(sum(s * grid for s, grid in zip(strides, grids, strict=True)))
        firsts = [axis.points[part[0]] for axis, part in zip(space.axes, parts, strict=True)]
        try:
            setup = changed(space.base, changes_of(firsts))
        except InputError as refusal:
            yield Refused(why=refusal.faults[0], index=index)
        else:
            yield _way(setup, _arrays(space.axes, parts), index)


def way_count(space: Space) -> int:
    """
    Count what `ways` yields.

    Parameters
    ----------
    space : Space
        What may be chosen.

    Returns
    -------
    int
        At least 1.
    """
    return sum(1 for _ in _blocks(space))


def _blocks(space: Space) -> Iterator[Parts]:
    """Combine the parts of all axes, and halve what would be too much at once."""
    for parts in product(*(parted(axis) for axis in space.axes)):
        yield from _halved(parts)


def _halved(parts: Parts) -> Iterator[Parts]:
    if prod(map(len, parts)) <= _AT_ONCE:
        yield parts
        return
    longest = max(range(len(parts)), key=lambda place: len(parts[place]))
    half = len(parts[longest]) // 2
    for part in (parts[longest][:half], parts[longest][half:]):
        yield from _halved((*parts[:longest], part, *parts[longest + 1 :]))


def _arrays(axes: tuple[Axis, ...], parts: Parts) -> dict[str, FloatArray]:
    """Give the numbers of each axis a dimension of its own."""
    found = {}
    for place, (axis, part) in enumerate(zip(axes, parts, strict=True)):
        numbers = [axis.points[k].number for k in part]
        if None not in numbers:
            shape = [1] * (len(axes) + 1)
            shape[place] = len(part)
            found[axis.name] = np.array(numbers, dtype=np.float64).reshape(shape)
    return found


def _way(setup: Setup, arrays: dict[str, FloatArray], index: NDArray[np.intp]) -> Way:
    share = arrays.pop(SHARE, np.ones(1))
    many = _with_arrays(setup, arrays)
    # dead time and white balance look at one station only: they are put in behind
    plain = _with(many, "camera", {"dead_time_us": 0.0})
    plain = _with(plain, "acquisition", {"white_balance": "off"})
    numbers = stations(plain)
    when = timing(many, numbers.geometry)
    exposure_us = share * np.asarray(when.exposure_us)
    possible = exposure_us > 0
    when = replace(when, exposure_us=np.where(possible, exposure_us, 1.0))
    numbers = replace(numbers, timing=when)
    if setup.acquisition.white_balance != "off":
        numbers = replace(numbers, balance=_balance(numbers))
    return Way(
        setup=many,
        numbers=numbers,
        wanted=search(many, target_size(setup)),
        index=index,
        possible=possible,
    )


def _balance(numbers: Station) -> FloatArray:
    """Bring the whites of each station's colours together, as `station` does for one."""
    white_e = np.asarray(numbers.electrons_white)
    lit = (white_e > 0).all(axis=-1, keepdims=True)
    ratio = white_e.max(axis=-1, keepdims=True) / np.where(lit, white_e, 1.0)
    return np.asarray(np.where(lit, ratio, 1.0))


def _with_arrays(setup: Setup, arrays: Mapping[str, FloatArray]) -> Setup:
    for key, values in arrays.items():
        section, field = field_of(key)
        setup = _with(setup, section, {field: values})
    if "light.illuminance" in arrays:
        watts = setup.light.spectrum.irradiance_w_m2(arrays["light.illuminance"])
        setup = _with(setup, "light", {"illuminance_lx": None, "irradiance_w_m2": watts})
    return setup


def _with(setup: Setup, section: str, values: Mapping[str, Any]) -> Setup:
    """Put values behind the door, where arrays pass as numbers do."""
    part = getattr(setup.sections, section).model_copy(update=values)
    return replace(setup, sections=setup.sections.model_copy(update={section: part}))
