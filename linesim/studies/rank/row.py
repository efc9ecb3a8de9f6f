"""Options that are shown, each checked as a file is, and those that do as well."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from linesim.figures.budget import Budget, budget
from linesim.figures.case import values
from linesim.figures.groups import ENDS
from linesim.report.console import listed
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.batch.figures import COSTLY, figures_of
from linesim.studies.batch.judged import weakest
from linesim.studies.batch.size_table import WORKERS
from linesim.studies.batch.station_arrays import Places
from linesim.studies.rank.space import Space

Same = Callable[[Places], NDArray[np.bool_]]
"""Tells which of some options are as good as the one at hand."""
EXACT, CLOSE = 1e-9, 2e-3
"""
Shares within which figures count as the same: of what is chosen, and of what follows from integrals
over frequencies, which are right to so much.
"""
AGREE = 1e-9
"""Share by which the figures of one option, and those of all at once, may differ."""
_MOST_SAID = 4
"""Values that make no difference are named up to so many; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternatives:
    """What may be chosen instead without any effect that counts."""

    # axis -> its values, the option's own among them, where there are several
    labels: Mapping[str, tuple[str, ...]]
    index: Places  # all options that this makes


def same_as(
    index: int, passing: NDArray[np.bool_], exact: list[FloatArray], close: list[FloatArray]
) -> Same:
    """Compare options with one of them."""

    def same(others: Places) -> NDArray[np.bool_]:
        alike = passing[others]
        for figures, share in ((exact, EXACT), (close, CLOSE)):
            for each in figures:
                alike = alike & np.isclose(each[others], each[index], rtol=share, atol=0.0)
        return alike

    return same


def alternatives(space: Space, index: int, same: Same) -> Alternatives:
    """Find the values of each axis that do as well, in whatever combination."""
    own = [int(place) for place in np.unravel_index(index, space.shape)]
    chosen = [[place] for place in own]
    for axis, count in enumerate(space.shape):
        others = np.delete(np.arange(count), own[axis])
        alone = [[place] for place in own]
        alone[axis] = others.tolist()
        for place in others[same(_indexes(space, alone))].tolist():
            trial = [*chosen[:axis], [place], *chosen[axis + 1 :]]
            if same(_indexes(space, trial)).all():
                chosen[axis].append(place)
    labels = {
        axis.name: tuple(axis.points[place].label for place in sorted(places))
        for axis, places in zip(space.axes, chosen, strict=True)
        if len(places) > 1
    }
    return Alternatives(labels=labels, index=_indexes(space, chosen))


def _indexes(space: Space, places: list[list[int]]) -> Places:
    grids = np.meshgrid(*(np.array(each, dtype=np.intp) for each in places), indexing="ij")
    flat = np.ravel_multi_index([each.ravel() for each in grids], space.shape)
    return np.asarray(flat, dtype=np.intp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One option."""

    index: int
    choice: Mapping[str, str]
    alternatives: Mapping[str, tuple[str, ...]]
    figures: Mapping[str, float]
    setup: Setup = field(repr=False)
    budget: Budget = field(repr=False)

    def worst(self, name: str) -> float:
        """Give a figure of which the smaller is the worse, at the worst place of the line."""
        return min(self.figures[each] for each in (name, name + ENDS))

    def largest(self, name: str) -> float | None:
        """Give a figure of which the larger is the worse, at the worst place; none if absent."""
        found = [self.figures[each] for each in (name, name + ENDS) if each in self.figures]
        return max(found) if len(found) > 1 else None


def checked_rows(
    space: Space, shown: Mapping[int, Alternatives], figures: Mapping[str, FloatArray]
) -> dict[int, Row]:
    """Check some options as files would be, and hold them against what was worked out for all."""
    indexes = np.array(sorted(shown), dtype=np.intp)
    _exact(space, indexes, figures)
    with ThreadPoolExecutor(WORKERS) as pool:
        rows = pool.map(lambda index: _row(space, index, shown[index], figures), shown)
        return dict(zip(shown, rows, strict=True))


def _exact(space: Space, indexes: Places, figures: Mapping[str, FloatArray]) -> None:
    """Put the figures of detection in as the budget has them."""
    names = [name for name in figures if name.startswith(("smallest_", "defect_dprime"))]
    size_name = next(name for name in names if name.startswith("smallest_"))
    known = indexes[~np.isnan(figures[size_name][indexes])]
    if known.size:
        for name, values in figures_of(space, known, dict.fromkeys(names, COSTLY)).items():
            if np.isfinite(values).any():
                figures[name][known] = weakest(name, values)


def _row(space: Space, index: int, others: Alternatives, figures: Mapping[str, FloatArray]) -> Row:
    points = space.option(index)
    setup = space.setup(index)
    found = budget(setup)
    mine = {name: float(column[index]) for name, column in figures.items()}
    mine = {name: value for name, value in mine.items() if np.isfinite(value)}
    for name, value in _again(setup, found):
        if name in mine and abs(mine[name] - value) > AGREE * abs(value):
            msg = f"{name} of option {index} is {mine[name]!r} among all, and {value!r} alone"
            raise ArithmeticError(msg)
    own = {axis.name: p.label for axis, p in zip(space.axes, points, strict=True)}
    return Row(
        index=index,
        choice={name: _either(others.labels.get(name, (label,))) for name, label in own.items()},
        alternatives=others.labels,
        figures=mine,
        setup=setup,
        budget=found,
    )


def _either(labels: Sequence[str]) -> str:
    """Say that one is as good as the other; of many, the first and the last."""
    if len(labels) > _MOST_SAID:
        return f"any of {len(labels)}, {labels[0]} to {labels[-1]}"
    return listed(labels, "or")


def _again(setup: Setup, found: Budget) -> Iterator[tuple[str, float]]:
    """Give all figures of one setup, the deciding colour each."""
    speed_mm_s = setup.transport.speed_mm_s
    yield "speed_mm_s", speed_mm_s
    yield "area_rate_m2_s", speed_mm_s * found.number("geometry", "field_of_view_mm") / 1e6
    for group in found.groups.values():
        for name, value in group.items():
            if not isinstance(value, str):
                yield name, float(weakest(name, np.array(values(value))))
