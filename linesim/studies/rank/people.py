"""Cautions about eyes, skin, heat and machines for the options that are shown: one line each."""

from collections.abc import Iterator

import numpy as np

from linesim.figures.safety import Shared, shared_cautions
from linesim.setup.setup import Setup
from linesim.studies.rank.study import Ranking

_LIGHT = "irradiance_target_w_m2"


def rank_people(found: Ranking) -> tuple[Shared, ...]:
    """Find what to mind about the light of all options shown, and of the brightest listed."""
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
            yield f"rank {places[index]}, the brightest", found.space.setup(index)
