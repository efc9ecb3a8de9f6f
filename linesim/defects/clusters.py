"""An irregular cluster of discs that hang together, drawn as their exact union."""

from dataclasses import dataclass
from math import ceil, pi, sqrt

import numpy as np

from linesim.defects.blobs import need_size
from linesim.defects.edges import Edges, joined
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse

_FEWEST_CORNERS = 64
MOST_DISCS = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """A cluster of discs; each new one sits on the rim of an earlier one."""

    size_um: float
    discs: int = 7
    form: int = 0

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        need_size(size_um=self.size_um)
        if not 1 <= self.discs <= MOST_DISCS:
            refuse(f"discs: read {self.discs}, expected 1 to {MOST_DISCS}")

    def circles_um(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Place the discs."""
        random = np.random.default_rng(np.random.SeedSequence(self.form))
        radius = random.uniform(0.4, 1.0, self.discs)
        angle, onto = random.uniform(0, 2 * pi, self.discs), random.random(self.discs)
        x, y = np.zeros((2, self.discs))
        for k in range(1, self.discs):
            # early discs are chosen more often, so that the cluster stays round
            base = int(k * onto[k] ** 2)
            away = 0.75 * (radius[base] + radius[k])
            x[k], y[k] = x[base] + away * np.cos(angle[k]), y[base] + away * np.sin(angle[k])
        x, y = x - np.average(x, weights=radius**2), y - np.average(y, weights=radius**2)
        grow_um = self.size_um / 2 / (np.hypot(x, y) + radius).max()
        return x * grow_um, y * grow_um, radius * grow_um

    def edges(self, fine_um: float) -> Edges:
        """Draw the arcs that bound the union."""
        circles = np.stack(self.circles_um(), axis=1)
        return joined([_free_arcs(k, circles, fine_um) for k in range(self.discs)])


def _free_arcs(index: int, circles: FloatArray, fine_um: float) -> Edges:
    """Cut one circle where others cross it, and keep what lies in none of them."""
    x_um, y_um, radius_um = circles[index]
    others = np.delete(circles, index, axis=0)
    count = max(_FEWEST_CORNERS, ceil(pi * sqrt(radius_um / (2 * fine_um))))
    crossed = _crossings(circles[index], others)
    angle = np.sort(np.concatenate([2 * pi * np.arange(count) / count, crossed]))
    ends = np.stack([angle, np.append(angle[1:], angle[0] + 2 * pi)], axis=1)
    middle = ends.mean(axis=1)[:, None]
    away_um = np.hypot(
        x_um + radius_um * np.cos(middle) - others[:, 0],
        y_um + radius_um * np.sin(middle) - others[:, 1],
    )
    free = ends[(away_um >= others[:, 2]).all(axis=1)]
    return Edges(
        x_um=x_um + radius_um * np.cos(free),
        y_um=y_um + radius_um * np.sin(free),
        weights=np.ones(len(free)),
    )


def _crossings(circle: FloatArray, others: FloatArray) -> FloatArray:
    """Angles at which others cross a circle, from 0 to 2 pi."""
    x_um, y_um, radius_um = circle
    apart_x, apart_y = others[:, 0] - x_um, others[:, 1] - y_um
    apart = np.hypot(apart_x, apart_y)
    cosine = (radius_um**2 + apart**2 - others[:, 2] ** 2) / (2 * radius_um * apart)
    met = np.abs(cosine) < 1
    towards, half = np.arctan2(apart_y, apart_x)[met], np.arccos(cosine[met])
    return np.asarray(np.mod(np.concatenate([towards - half, towards + half]), 2 * pi))
