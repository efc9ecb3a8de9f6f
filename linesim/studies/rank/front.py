"""
The front of many options: those that no other beats in one objective without losing in another.

Three objectives, all to be small; what should be large is handed in with its sign turned. Points
are first thinned out by a few good ones, then sorted and swept: of the points met so far the sweep
keeps the staircase of the second and third objective, which decides about the next one in
logarithmic time.

References
----------
Sort and sweep for the maxima of a set of vectors: Kung, Luccio and Preparata 1975 (from memory).
"""

from bisect import bisect_left, bisect_right

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray

_PIVOTS = 48
"""Points that thin the others out; more cost more than they save."""


def front_of(objectives: FloatArray) -> NDArray[np.intp]:
    """Find the options that no other beats; of equal ones the first stands for all."""
    if len(objectives) == 0:
        return np.zeros(0, dtype=np.intp)
    near = _thinned(objectives)
    # unique rows come sorted by the first objective, then the second, then the third
    rows, first = np.unique(objectives[near], axis=0, return_index=True)
    return np.sort(near[first[_swept(rows)]])


def _thinned(objectives: FloatArray) -> NDArray[np.intp]:
    """Leave out what one of a few good points beats."""
    ranks = np.stack([np.unique(column, return_inverse=True)[1] for column in objectives.T])
    depth = ranks.sum(axis=0)
    count = min(_PIVOTS, len(depth))
    kept = np.arange(len(depth))
    for pivot in np.argpartition(depth, count - 1)[:count]:
        other = ranks[:, pivot][:, None]
        mine = ranks[:, kept]
        beaten = (mine >= other).all(axis=0) & (mine > other).any(axis=0)
        kept = kept[~beaten]
    return kept


def _swept(rows: FloatArray) -> list[int]:
    """Sweep sorted rows; give the places of those that none before them beats."""
    stairs: list[float] = []
    heights: list[float] = []
    found = []
    for place, (_, second, third) in enumerate(rows.tolist()):
        below = bisect_right(stairs, second)
        if below and heights[below - 1] <= third:
            continue
        found.append(place)
        # steps further out that are no lower carry nothing any more
        start = bisect_left(stairs, second)
        end = start
        while end < len(heights) and heights[end] >= third:
            end += 1
        stairs[start:end], heights[start:end] = [second], [third]
    return found
