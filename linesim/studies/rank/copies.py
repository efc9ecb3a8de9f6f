"""Options that differ in nothing that counts: one stands for all of them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray
from linesim.studies.batch.station_arrays import Places
from linesim.studies.rank.space import Space

Same = Callable[[Places], NDArray[np.bool_]]
"""Tells which of some options are as good as the one at hand."""
EXACT, CLOSE = 1e-9, 2e-3
"""
Shares within which figures count as the same: of what is chosen, and of what follows from integrals
over frequencies, which are right to so much.
"""


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
            for values in figures:
                alike = alike & np.isclose(values[others], values[index], rtol=share, atol=0.0)
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
