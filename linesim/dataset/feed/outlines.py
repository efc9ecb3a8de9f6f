"""Outlines of many faults as a device takes them: whole numbers, window after window."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import frexp

import numpy as np
from numpy.typing import NDArray

from linesim.defects.edges import Edges
from linesim.defects.window import Window
from linesim.setup.arrays import ImageArray

_BITS = 30
"""Of a corner's place in its window: a fault of a thousand pixels is held to 10⁻⁶ of one."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Outlines:
    """
    Edges of some covers; each belongs to a window of its own.

    An edge ends where the next one starts, but for a few; a weight holds for a run of edges.
    """

    starts: NDArray[np.int32]  # shape (edges, 2); x and y at which each starts
    breaks: NDArray[np.int64]  # shape (breaks,); edges that end elsewhere
    stops: NDArray[np.int32]  # shape (breaks, 2); there
    weights: ImageArray  # shape (runs,); share by which what edges enclose counts
    runs: NDArray[np.int64]  # shape (runs,); so many edges of each weight
    counts: NDArray[np.int64]  # shape (covers,); edges of each
    steps_px: NDArray[np.float64]  # shape (covers,); what one of these whole numbers is
    shapes: NDArray[np.int64]  # shape (covers, 2); rows and columns of each window


def outlined(edges: Edges, window: Window) -> Outlines:
    """Bring the edges of one shape to the pixels of its window; level ones count for nothing."""
    pitch_um = window.grid.pixel_size_um
    x = edges.x_um / pitch_um + (window.grid.columns / 2 - window.left)
    y = edges.y_um / pitch_um - window.top
    rows, columns = window.shape
    step_px = 2.0 ** (frexp(float(max(np.abs(x).max(), np.abs(y).max())))[1] - _BITS)
    places = [np.rint(each / step_px).astype(np.int32) for each in (*x.T, *y.T)]
    x0, x1, y0, y1 = places
    near = (np.maximum(y0, y1) > 0) & (np.minimum(y0, y1) < rows / step_px) & (y0 != y1)
    near &= np.minimum(x0, x1) < columns / step_px
    if not near.all():
        places = [each[near] for each in places]
    x0, x1, y0, y1 = places
    apart = np.flatnonzero((x1[:-1] != x0[1:]) | (y1[:-1] != y0[1:]))
    breaks = np.append(apart, np.arange(len(x0))[-1:])  # the last one has no next
    weights = edges.weights[near]
    changes = np.flatnonzero(np.diff(weights, prepend=np.nan))
    return Outlines(
        starts=np.stack([x0, y0], axis=1),
        breaks=breaks,
        stops=np.stack([x1[breaks], y1[breaks]], axis=1),
        weights=weights[changes].astype(np.float32),
        runs=np.diff(changes, append=len(weights)),
        counts=np.array([len(x0)], dtype=np.int64),
        steps_px=np.array([step_px]),
        shapes=np.array([[rows, columns]], dtype=np.int64),
    )


def together(parts: Sequence[Outlines]) -> Outlines:
    """Put covers one after the other."""
    sizes = [len(part.starts) for part in parts]
    before = np.cumsum([0, *sizes[:-1]])
    return Outlines(
        starts=np.concatenate([part.starts for part in parts]),
        breaks=np.concatenate(
            [part.breaks + first for part, first in zip(parts, before, strict=True)]
        ),
        stops=np.concatenate([part.stops for part in parts]),
        weights=np.concatenate([part.weights for part in parts]),
        runs=np.concatenate([part.runs for part in parts]),
        counts=np.concatenate([part.counts for part in parts]),
        steps_px=np.concatenate([part.steps_px for part in parts]),
        shapes=np.concatenate([part.shapes for part in parts]),
    )
