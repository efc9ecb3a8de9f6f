"""Faults in groups: how many of each were found, beside how many could be."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import floor, log2

import numpy as np

from linesim.dataset.draw import Taken
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.spans import Span
from linesim.dataset.score.scored import Scored

_SIDE_SD = 1.959963984540054
_PARTS = 3
"""Of a range that is drawn from anywhere: its lower, middle and upper third."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Some faults."""

    name: str
    # ends of what they were grouped by
    low: float | None = None
    high: float | None = None
    count: int
    found: int
    # mean share that can be found, as of each fault
    most: float | None = None
    linear: float | None = None
    # average precision, of a kind
    precision_at_limit: float | None = None
    mean_precision: float | None = None
    images: int | None = None
    false_alarms: int | None = None

    @property
    def recall(self) -> float | None:
        """Share that was found."""
        return self.found / self.count if self.count else None

    @property
    def interval(self) -> tuple[float, float] | None:
        """Where the true share lies in 95 of 100 such sets: E. B. Wilson, 1927, from memory."""
        if not self.count:
            return None
        n, share, z2 = self.count, self.found / self.count, _SIDE_SD**2
        middle = (share + z2 / (2 * n)) / (1 + z2 / n)
        reach = _SIDE_SD * np.sqrt(share * (1 - share) / n + z2 / (4 * n * n)) / (1 + z2 / n)
        return max(float(middle - reach), 0.0), min(float(middle + reach), 1.0)


def _counted(some: Sequence[Scored]) -> dict[str, float | int | None]:
    return {
        "count": len(some),
        "found": sum(each.found for each in some),
        "most": float(np.mean([each.most for each in some])) if some else None,
        "linear": float(np.mean([each.linear for each in some])) if some else None,
    }


def _group(name: str, some: Sequence[Scored], **more: float | None) -> Group:
    return Group(name=name, **_counted(some), **more)  # type: ignore[arg-type]  # as its fields are


def by_kind(
    plan: Plan, faults: Sequence[Scored], limits: Sequence[Mapping[int, float]]
) -> Iterator[Group]:
    """Group faults by kind, with the average precision of each."""
    for kind in plan.faults.kinds:
        some = [each for each in faults if each.kind == kind.name]
        if some:
            own = [each[kind.class_id + 1] for each in limits]
            yield _group(
                kind.name, some, precision_at_limit=own[0], mean_precision=float(np.mean(own))
            )


def by_octave(
    faults: Sequence[Scored], value: Callable[[Scored], float], unit: str, least: float
) -> Iterator[Group]:
    """Group faults by powers of two of a value; all below the least one are together."""
    lowest = round(log2(least))
    places = {each: floor(log2(max(value(each), least / 2))) for each in faults}
    places = {each: max(place, lowest - 1) for each, place in places.items()}
    for octave in range(min(places.values()), max(places.values()) + 1) if places else ():
        some = [each for each, place in places.items() if place == octave]
        low, high = 2.0**octave, 2.0 ** (octave + 1)
        name = f"below {high:g}{unit}" if octave < lowest else f"{low:g} to {high:g}{unit}"
        yield _group(name, some, low=low, high=high)


def by_station(
    plan: Plan, faults: Sequence[Scored], shots: Mapping[int, Taken], wrong: Sequence[int]
) -> Iterator[Group]:
    """Group faults by what was varied of the station: each value of a list, thirds of a range."""
    for span in plan.spans:
        parts = {index: _part(span, shot) for index, shot in shots.items()}
        for part in sorted(set(parts.values())):
            indices = {index for index, own in parts.items() if own == part}
            some = [each for each in faults if each.index in indices]
            alarms = sum(index in indices for index in wrong)
            name = f"{span.name}, {part[1]}"
            yield _group(name, some, images=len(indices), false_alarms=alarms)


def _part(span: Span, shot: Taken) -> tuple[int, str]:
    """Tell the part of what a key is drawn from that an image's station lies in."""
    if span.between is None:
        points = list(enumerate(span.axis.points))
        return next(
            (k, point.label)
            for k, point in points
            if all(shot.changes.get(key) == value for key, value in point.changes.items())
        )
    low, high = (float(span.between.base_values[k]) for k in (0, -1))
    spread = np.geomspace if span.log else np.linspace
    edges = np.asarray(spread(low, high, _PARTS + 1))
    number = float(str(shot.changes[span.name]).split()[0])  # written in the unit of the range
    part = min(int(np.searchsorted(edges[1:-1], number, side="right")), _PARTS - 1)
    said = [span.between.said(float(edge)) for edge in edges[part : part + 2]]
    return part, f"{said[0]} to {said[1]}"
