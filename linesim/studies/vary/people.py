"""Cautions about eyes, skin, heat and machines along ranges of light: one line each."""

from collections.abc import Iterator

import numpy as np

from linesim.figures.safety import Shared, shared_cautions
from linesim.setup.setup import Setup
from linesim.studies.batch.ranges import Range
from linesim.studies.vary.study import Varied

_MOST_VALUES = 100
"""Of a range of light, evenly chosen with both ends; one of a few hundred hides no caution."""


def vary_people(found: Varied) -> tuple[Shared, ...]:
    """Find what to mind about the light along a study's ranges, both ends and all between."""
    return shared_cautions(_points(found))


def _points(found: Varied) -> Iterator[tuple[str, Setup]]:
    """Give the points whose light differs, each named by its light."""
    lights = [each.key.section == "light" for each in found.ranges]
    space = found.curves[0].space.at(
        [
            _some(each) if light else each.base_values[:1]
            for each, light in zip(found.ranges, lights, strict=True)
        ]
    )
    for index, place in enumerate(space.places):
        said = [
            each.said(value)
            for each, value, light in zip(found.ranges, place, lights, strict=True)
            if light
        ]
        yield " and ".join(said), space.quick(index)


def _some(over: Range) -> list[float]:
    count = len(over.base_values)
    chosen = np.unique(np.rint(np.linspace(0, count - 1, min(count, _MOST_VALUES))).astype(int))
    return [over.base_values[k] for k in chosen]
