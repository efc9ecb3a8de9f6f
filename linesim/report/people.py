"""Cautions about eyes, skin, heat and machines where many light levels are shown: one line each."""

from collections.abc import Iterator
from itertools import product

import numpy as np

from linesim.budget.safety import Shared, shared_cautions
from linesim.setup.setup import Setup
from linesim.study.options import option_setup
from linesim.study.ranges import Range
from linesim.study.rank import Ranking
from linesim.study.vary import Varied

_MOST_VALUES = 100
"""Of a range of light, evenly chosen with both ends; one of a few hundred hides no caution."""
_LIGHT = "irradiance_target_w_m2"


def vary_people(found: Varied) -> tuple[Shared, ...]:
    """
    Find what to mind about the light along a study's ranges, both ends and all between.

    Parameters
    ----------
    found : Varied
        The study.

    Returns
    -------
    tuple of Shared
        One a code; titles are values of the ranges of light.
    """
    return shared_cautions(_points(found))


def _points(found: Varied) -> Iterator[tuple[str, Setup]]:
    """Give the points whose light differs, each named by its light."""
    along = found.courses[0].walk
    lights = [each.key.section == "light" for each in found.ranges]
    values = [
        _some(each) if light else each.base_values[:1]
        for each, light in zip(found.ranges, lights, strict=True)
    ]
    places = list(product(*values))
    for place, point in zip(places, along.points(places), strict=True):
        said = [
            each.said(value)
            for each, value, light in zip(found.ranges, place, lights, strict=True)
            if light
        ]
        yield " and ".join(said), point


def _some(over: Range) -> list[float]:
    count = len(over.base_values)
    chosen = np.unique(np.rint(np.linspace(0, count - 1, min(count, _MOST_VALUES))).astype(int))
    return [over.base_values[k] for k in chosen]


def rank_people(found: Ranking) -> tuple[Shared, ...]:
    """
    Find what to mind about the light of all options that are shown, and of the brightest listed.

    Parameters
    ----------
    found : Ranking
        All options, judged.

    Returns
    -------
    tuple of Shared
        One a code; titles are places in the ranking.
    """
    return shared_cautions(_options(found))


def _options(found: Ranking) -> Iterator[tuple[str, Setup]]:
    shown = {row.index: row.setup for row in (*found.rows, *found.front_rows)}
    places = {int(index): place for place, index in enumerate(found.order.tolist(), 1)}
    for index in sorted(shown, key=places.__getitem__):
        yield f"rank {places[index]}", shown[index]
    if found.nearest is not None:
        yield "the nearest", found.nearest.setup
    if found.order.size:
        index = int(found.order[np.argmax(found.figures[_LIGHT][found.order])])
        if index not in shown:
            yield f"rank {places[index]}, the brightest", option_setup(found.space, index)
