"""
Many stations at once: what is given in words is checked as a file is, numbers become arrays.

Options that agree in words (binning, camera, spectrum) make one block. Their setup is checked as
any. The numbers of the axes (light, speed, f-number) are then put into it as columns, a row an
option, and the same `station` that serves one setup gives the numbers of all; a number that all
share stays one. The columns of a block are the colours.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from linesim.figures.detection import Search, search
from linesim.figures.groups import Reach, reach
from linesim.figures.places import is_even
from linesim.forward.geometry import geometry, timing
from linesim.forward.station import Station, stations
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.studies.batch.space import SHARE, Space, field_of, with_values
from linesim.studies.batch.station_arrays import Places, taken
from linesim.targets.load import target_size

_AT_ONCE = 16_384
"""Options of a block: so many of their columns stay in the cache."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """Some options of a space that agree in all words."""

    setup: Setup  # of one of them, but for the numbers of the axes
    index: Places  # shape (n,); which options of the space they are
    numbers: Station  # numbers of shape (n, colours), or fewer where they all share one
    wanted: Search  # what is searched there; likewise
    able: Reach  # what camera and link can do; likewise
    possible: NDArray[np.bool_]  # shape (n,); where the dead time leaves something to expose in

    @property
    def even(self) -> bool:
        """Whether all its stations are evenly lit: their ends are as their middle."""
        return is_even(self.numbers, self.wanted)

    def some(self, rows: Places | slice) -> "Block":
        """Take some of the options."""
        return replace(
            self,
            index=self.index[rows],
            numbers=taken(self.numbers, rows),
            wanted=taken(self.wanted, rows),
            able=taken(self.able, rows),
            possible=self.possible[rows],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refused:
    """Options whose words are no setup."""

    why: InputError  # what is wrong with them
    index: Places  # which options of the space they are


def blocks(space: Space, indices: Places) -> Iterator[Block | Refused]:
    """
    Turn options of a space into numbers, each once, those of the same words in their order.

    Parameters
    ----------
    indices : ndarray of int; which options
    """
    numbers = [np.array([p.number for p in axis.points], np.float64) for axis in space.axes]
    for index in _by_words(space, indices):
        try:
            setup, lead = space.begun(space.option(int(index[0])))
        except InputError as refusal:
            yield Refused(why=refusal, index=index)
            continue
        for start in range(0, len(index), _AT_ONCE):
            part = index[start : start + _AT_ONCE]
            yield _block(setup, lead, _columns(space, numbers, part), part)


def _by_words(space: Space, indices: Places) -> list[Places]:
    """Sort options by their words."""
    words, stride = np.zeros(len(indices), dtype=np.intp), space.count
    for axis in space.axes:
        stride //= len(axis.points)
        if axis.parts > 1:
            parts = np.array(axis.part, dtype=np.intp)
            words = words * axis.parts + parts[indices // stride % len(parts)]
    order = np.argsort(words, kind="stable")
    alike = np.split(indices[order], np.flatnonzero(np.diff(words[order])) + 1)
    return alike if indices.size else []


def _columns(space: Space, numbers: list[FloatArray], index: Places) -> dict[str, FloatArray]:
    """Give the numbers of each axis, a row an option; words have none."""
    places = np.unravel_index(index, space.shape)
    found = {}
    for axis, values, place in zip(space.axes, numbers, places, strict=True):
        column = values[place][:, None]
        if not np.isnan(column[0, 0]):
            found[axis.name] = column
    return found


def _block(
    setup: Setup, lead: Setup | None, columns: dict[str, FloatArray], index: Places
) -> Block:
    share = columns.pop(SHARE, None)
    many = _with_columns(setup, columns)
    if lead is not None:
        exposure_us = exposure_us_of(_with_columns(lead, columns))
        many = with_values(many, "acquisition", {"exposure": exposure_us})
    numbers, possible = _exposed(many, share)
    return Block(
        setup=setup,
        index=index,
        numbers=numbers,
        wanted=search(many, target_size(setup)),
        able=reach(many),
        possible=np.broadcast_to(possible, (len(index), 1))[:, 0],
    )


def _exposed(many: Setup, share: FloatArray | None) -> tuple[Station, NDArray[np.bool_]]:
    """Give all stations, and which of them have time to expose."""
    # dead time and white balance know one station only: they are put in behind
    plain = with_values(many, "camera", {"dead_time_us": 0.0})
    plain = with_values(plain, "acquisition", {"white_balance": "off"})
    numbers = stations(plain)
    when = timing(many, numbers.geometry)
    exposure_us = when.exposure_us if share is None else share * np.asarray(when.exposure_us)
    possible = np.asarray(exposure_us) > 0
    when = replace(when, exposure_us=np.where(possible, exposure_us, 1.0))
    numbers = replace(numbers, timing=when)
    if many.acquisition.white_balance != "off":
        numbers = replace(numbers, balance=_balance(numbers))
    return numbers, possible


def _balance(numbers: Station) -> FloatArray:
    """Bring the whites of each station's colours together, as `station` does for one."""
    white_e = np.atleast_1d(numbers.electrons_white)
    lit = (white_e > 0).all(axis=-1, keepdims=True)
    ratio = white_e.max(axis=-1, keepdims=True) / np.where(lit, white_e, 1.0)
    return np.asarray(np.where(lit, ratio, 1.0))


def _with_columns(setup: Setup, columns: Mapping[str, FloatArray]) -> Setup:
    for key, values in columns.items():
        section, field = field_of(key)
        setup = with_values(setup, section, {field: values})
    if "light.illuminance" in columns:
        watts = setup.light.spectrum.irradiance_w_m2(columns["light.illuminance"])
        setup = with_values(setup, "light", {"illuminance_lx": None, "irradiance_w_m2": watts})
    return setup


def exposure_us_of(lead: Setup) -> FloatArray:
    """Give the exposure time that others take from a setup."""
    exposure_us = np.asarray(timing(lead, geometry(lead)).exposure_us)
    if np.all(exposure_us > 0):
        return exposure_us
    dead_us = np.broadcast_to(lead.camera.dead_time_us, exposure_us.shape)[exposure_us <= 0]
    msg = (
        f"camera.dead_time: read {dead_us.flat[0]:g} us, but the line period of the "
        "first variant leaves no time to expose; expected a shorter dead time or a slower line"
    )
    raise InputError(msg)
