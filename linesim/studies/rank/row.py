"""Options that are shown: each is checked as a file is, and must give the same figures again."""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from linesim.figures.budget import Budget, budget
from linesim.figures.case import values
from linesim.figures.groups import ENDS
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.batch.figures import COSTLY, figures_of
from linesim.studies.batch.judged import weakest
from linesim.studies.batch.size_table import WORKERS
from linesim.studies.batch.station_arrays import Places
from linesim.studies.rank.copies import Alternatives
from linesim.studies.rank.space import Space

AGREE = 1e-9
"""Share by which the figures of one option, and those of all at once, may differ."""
_MOST_SAID = 4
"""Values that make no difference are named up to so many; our choice."""


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
    space: Space,
    shown: Mapping[int, Alternatives],
    figures: Mapping[str, FloatArray],
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
    *first, last = labels
    return f"{', '.join(first)} or {last}" if first else last


def _again(setup: Setup, found: Budget) -> Iterator[tuple[str, float]]:
    """Give all figures of one setup, the deciding colour each."""
    speed_mm_s = setup.transport.speed_mm_s
    yield "speed_mm_s", speed_mm_s
    yield "area_rate_m2_s", speed_mm_s * found.number("geometry", "field_of_view_mm") / 1e6
    for group in found.groups.values():
        for name, value in group.items():
            if not isinstance(value, str):
                yield name, float(weakest(name, np.array(values(value))))
