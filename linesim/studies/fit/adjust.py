"""
Fit again and again, each time without the key that captures tell least of.

In the order of the list, each key's information is split into what the keys before it take and the
rest. Where next to nothing is left, the key moves captures as those before it do together, and no
capture of this kind tells it: it is left as the setup has it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.interval import SIDE_SD, Interval
from linesim.metrics.scene.settled import LIKELY
from linesim.report.console import listed
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.fit.case import Case, State, View, viewed
from linesim.studies.fit.found import LeftKey
from linesim.studies.fit.key_table import Key, in_setup
from linesim.studies.fit.likelihood import Information
from linesim.studies.fit.scoring import (
    Likeliest,
    Progress,
    has_effect,
    information_around,
    likeliest,
)

LEAST_LEFT = 1e-4
"""Share of a key's information that must be left: errors then grow a hundredfold; our choice."""
_PARTNER = 0.2
"""Part of the largest partner's from which on another is named; our choice."""
WIDEST = 0.5
"""Half an interval over the value, from which on a key counts as not told; our choice."""
_STEADY = 0.8
"""Half an interval over its middle up to which its error is taken to grow with it; our choice."""
_BOUND = 0.9
"""Correlation of two errors from which on one is named beside the other; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """A key that moves captures as others do."""

    index: int
    # of the keys before it that do the same together; empty: it does nothing
    partners: tuple[int, ...] = ()
    correlation: float = 0.0  # of what it does with what those do


def without_places(information: FloatArray, keys: int, held: FloatArray) -> FloatArray:
    """Give what is told of keys, which stand first, when places may vary as far as held."""
    own, mixed = information[:keys, :keys], information[:keys, keys:]
    places = information[keys:, keys:] + np.diag(held)
    return np.asarray(own - mixed @ np.linalg.solve(places, mixed.T))


def alike(information: FloatArray, effective: NDArray[np.bool_]) -> tuple[Alike, ...]:
    """Find the keys that captures do not tell apart; some have no effect at all."""
    kept: list[int] = []
    found: list[Alike] = []
    for index in range(len(information)):
        whole = float(information[index, index])
        if not effective[index] or whole <= 0:
            found.append(Alike(index=index))
            continue
        at = np.array(kept, dtype=int)
        part = np.linalg.pinv(information[np.ix_(at, at)], hermitian=True) @ information[at, index]
        left = 1 - float(part @ information[at, index]) / whole
        if left >= LEAST_LEFT:
            kept.append(index)
            continue
        weight = np.abs(part) * np.sqrt(np.diag(information)[at])
        named = at[weight >= _PARTNER * weight.max()]
        sign = float(np.sign(information[named[0], index])) if len(named) == 1 else 1.0
        found.append(
            Alike(
                index=index,
                partners=tuple(int(each) for each in named),
                correlation=sign * float(np.sqrt(np.clip(1 - left, 0.0, 1.0))),
            )
        )
    return tuple(found)


def correlations(covariance: FloatArray) -> FloatArray:
    """Give the correlations of a covariance."""
    size = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    return np.asarray(np.clip(covariance / np.outer(size, size), -1, 1))


def shares(covariance: FloatArray, parts: Sequence[FloatArray], index: int) -> tuple[float, ...]:
    """Say how much each part of the information tells of a key, all others free to vary."""
    alone = covariance[index]
    each = np.array([max(float(alone @ part @ alone), 0.0) for part in parts])
    return tuple((each / max(each.sum(), 1e-300)).tolist())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Free:
    """A fit of all keys that captures tell apart, however little they tell of one."""

    case: Case
    end: Likeliest

    def interval(self, key: Key, value: float) -> Interval:
        """Give a key's interval about a value: that of the free fit, widened to hold it."""
        index = self.case.keys.index(key)
        variable = float(self.end.view.state.variables[index])
        sd = float(np.sqrt(max(self.end.covariance[index, index], 0.0)))
        own = interval_of(key, variable, sd)
        return Interval(value=value, low=min(own.low, value), high=max(own.high, value))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Adjusted:
    """A fit of the keys that captures tell."""

    case: Case
    end: Likeliest
    free: Free  # with those as well that captures tell little of
    left: tuple[LeftKey, ...]

    @property
    def intervals(self) -> tuple[Interval, ...]:
        """Give the intervals of all keys."""
        return tuple(
            self.free.interval(key, key.of_variable(float(x)))
            for key, x in zip(self.case.keys, self.end.view.state.variables, strict=True)
        )


def adjusted(case: Case, state: State, progress: Progress | None = None) -> Adjusted:
    """Fit all keys that captures tell, and name the others."""
    here = viewed(case, state)
    gone = _alike(case, here, information_around(case, here)[0]) if case.keys else ()
    left = tuple(_same(case, each) for each in gone)
    case, state = _dropped(case, state, [each.index for each in gone])
    free = None
    while True:
        end = likeliest(case, state, progress)
        gone = _alike(case, end.view, end.information) if free is None else ()
        index = [each.index for each in gone]
        left = (*left, *(_same(case, each) for each in gone))
        if not gone:
            free = free or Free(case=case, end=end)
            wide = _widest(case, end)
            if wide is None:
                return Adjusted(case=case, end=end, free=free, left=left)
            left = (*left, _too_wide(case, end, wide))
            index = [wide]
        case, state = _dropped(case, end.view.state, index)


def _alike(case: Case, here: View, known: Information) -> tuple[Alike, ...]:
    """Find keys that move captures as others do."""
    count = len(case.keys)
    held = np.tile(1 / np.square(LIKELY), len(case.windows))
    own = without_places(known.whole, count, held)
    return alike(own, has_effect(case, here, known.whole))


def _dropped(case: Case, state: State, gone: list[int]) -> tuple[Case, State]:
    kept = [index for index in range(len(case.keys)) if index not in gone]
    keys = tuple(case.keys[index] for index in kept)
    return replace(case, keys=keys), replace(state, variables=state.variables[kept])


def _same(case: Case, found: Alike) -> LeftKey:
    """Say with which other keys one moves the captures alike."""
    key = case.keys[found.index]
    if not found.partners:
        return LeftKey(name=key.name, why="the captures are the same whatever it is")
    names = tuple(case.keys[index].name for index in found.partners)
    which = "moves" if len(names) == 1 else "together move"
    return LeftKey(
        name=key.name,
        why=(
            f"{listed(names)} {which} the captures as it does (correlation "
            f"{found.correlation:+.2f}); these tell only what comes of both"
        ),
        partners=names,
        correlation=found.correlation,
    )


def interval_of(key: Key, variable: float, sd: float) -> Interval:
    """
    Give the 95 % interval of a key, from that of the variable that errs normally.

    Where the error grows with the truth, the ends are the truths for which what was found lies at
    an end: x/(1 ± 1.96 r), r the relative error.
    """
    ends = [variable - SIDE_SD * sd, variable + SIDE_SD * sd]
    if key.scales and SIDE_SD * sd < _STEADY * variable:
        reach = SIDE_SD * sd / variable
        ends = [variable / (1 + reach), variable / (1 - reach)]
    low, value, high = (key.of_variable(each) for each in (ends[0], variable, ends[1]))
    return Interval(value=value, low=low, high=high)


def _own_intervals(case: Case, end: Likeliest) -> tuple[Interval, ...]:
    sds = np.sqrt(np.maximum(np.diag(end.covariance), 0))
    return tuple(
        interval_of(key, float(x), float(sd))
        for key, x, sd in zip(
            case.keys, end.view.state.variables, sds[: len(case.keys)], strict=True
        )
    )


def _widest(case: Case, end: Likeliest) -> int | None:
    """Name the last of the keys whose interval is wide, and holds what the setup has."""
    setup = case.predictions[0].setup
    wide = [
        index
        for index, (key, seen) in enumerate(zip(case.keys, _own_intervals(case, end), strict=True))
        if (seen.high - seen.low) / 2 > WIDEST * _size(key, setup, seen)
        and seen.low <= abs(key.value(setup)) <= seen.high
    ]
    return wide[-1] if wide else None


def _size(key: Key, setup: Setup, seen: Interval) -> float:
    return max(abs(seen.value), abs(key.value(setup)), in_setup(key.fine, setup))


def _too_wide(case: Case, end: Likeliest, index: int) -> LeftKey:
    """Say how little captures tell of a key, and what goes with it."""
    key, seen = case.keys[index], _own_intervals(case, end)[index]
    count = len(case.keys)
    own: FloatArray = correlations(end.covariance[:count, :count])[index].copy()
    own[index] = 0
    partner = int(np.argmax(np.abs(own)))
    unit = f" {key.unit}" if key.unit else ""
    why = f"anything from {seen.low:.3g} to {seen.high:.3g}{unit} agrees with what was captured"
    if abs(own[partner]) < _BOUND:
        return LeftKey(name=key.name, why=why)
    name = case.keys[partner].name
    return LeftKey(
        name=key.name,
        why=f"{why}, as {name} makes up for it (correlation {own[partner]:+.2f})",
        partners=(name,),
        correlation=float(own[partner]),
    )
