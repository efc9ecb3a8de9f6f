"""
Roundish shapes: discs, ellipses, irregular patches, with a sharp or a soft rim, and rings.

The outline is r(φ) = 1 + Σ a_k cos(kφ + ψ_k), k = 2 to 9, a_k falling as 1/k, stretched to the
sides asked for and brought to exactly the area π/4 · width · height. A soft rim is opaque by half
at that outline; its opacity falls as a raised cosine from 1 to 0 over ``soft_um``, drawn as the
sum of 96 nested outlines: less than 0.009 of the opacity from a smooth one, and less still after
the mean over a pixel. With R = √(width · height)/2 it makes the area (1 + (1/4 - 2/π²)(soft/R)²)
times as large: for outlines moved outward by d and u = d/soft + 1/2, the mean of (u - 1/2)² over
the opacity is ∫(u - 1/2)² sin(πu) π/2 du = 1/4 - 2/π². The steps add (soft/R)²/(12 · 96²) to that.
"""

from dataclasses import dataclass, replace
from math import ceil, pi, sqrt

import numpy as np

from linesim.defects.edges import Edges, closed, joined
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse

MOST_RAGGED = 0.25
"""Beyond 0.28 some outlines would meet their own middle."""
_WAVES = np.arange(2, 10)
_FEWEST_CORNERS = 96
_LEVELS = 96
_SOFTLY = 10.0  # a soft rim hides what a sharp one shows, and keeps its area all the same


def soft_levels() -> tuple[FloatArray, FloatArray]:
    """Give the nested outlines of a rim whose opacity falls as a raised cosine."""
    ends = np.linspace(-0.5, 0.5, _LEVELS + 1)
    return (ends[1:] + ends[:-1]) / 2, np.diff(np.sin(pi * ends)) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Blob:
    """A disc, an ellipse or an irregular patch."""

    width_um: float
    height_um: float
    ragged: float = 0.0
    form: int = 0
    soft_um: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        need_size(width_um=self.width_um, height_um=self.height_um)
        if not 0 <= self.ragged <= MOST_RAGGED:
            refuse(f"ragged: read {self.ragged:g}, expected 0 to {MOST_RAGGED:g}")
        if not 0 <= self.soft_um <= 2 * self.radius_um:
            refuse(
                f"soft: read {self.soft_um:g} um, expected 0 um to the mean size, "
                f"{2 * self.radius_um:g} um"
            )

    @property
    def radius_um(self) -> float:
        """Mean radius. [µm]."""
        return sqrt(self.width_um * self.height_um) / 2

    def edges(self, fine_um: float) -> Edges:
        """Draw the outline."""
        if not self.soft_um:
            return self._outline(fine_um)
        line = self._outline(_SOFTLY * fine_um)
        place, weights = soft_levels()
        scales = 1 + place * self.soft_um / self.radius_um
        ends_x, ends_y = (scales[:, None, None] * part for part in (line.x_um, line.y_um))
        return Edges(
            x_um=ends_x.reshape(-1, 2),
            y_um=ends_y.reshape(-1, 2),
            weights=np.outer(weights, line.weights).ravel(),
        )

    def scaled(self, scale: float) -> "Blob":
        """Give a smaller or larger one of the same form."""
        return replace(self, width_um=self.width_um * scale, height_um=self.height_um * scale)

    def _outline(self, fine_um: float) -> Edges:
        # a chord of angle a misses a circle by r a²/8; waves bend the outline more
        reach_um = max(self.width_um, self.height_um) / 2
        bent = 1 + 12 * self.ragged
        count = max(_FEWEST_CORNERS, ceil(pi * sqrt(bent * reach_um / (2 * fine_um))))
        angle = 2 * pi * np.arange(count) / count
        radius = self._radius(angle)
        line = closed(
            self.width_um / 2 * radius * np.cos(angle), self.height_um / 2 * radius * np.sin(angle)
        )
        return line.spread(self.radius_um * sqrt(pi / line.area_um2))

    def _radius(self, angle: FloatArray) -> FloatArray:
        if not self.ragged:
            return np.ones_like(angle)
        phase = np.random.default_rng(np.random.SeedSequence(self.form)).uniform(0, 2 * pi, 8)
        height = sqrt(2) * self.ragged / _WAVES / sqrt((1 / _WAVES**2).sum())
        return np.asarray(1 + np.cos(angle[:, None] * _WAVES + phase) @ height)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """The rim of a blob."""

    blob: Blob
    rim_um: float

    def __post_init__(self) -> None:
        """Refuse a rim that leaves no hole."""
        if not 0 < self.rim_um < self.blob.radius_um:
            refuse(
                f"rim: read {self.rim_um:g} um, expected above 0 um and below the mean radius of "
                f"the outer edge, {self.blob.radius_um:g} um"
            )

    @property
    def hole(self) -> Blob:
        """What the ring encloses."""
        return self.blob.scaled(1 - self.rim_um / self.blob.radius_um)

    def edges(self, fine_um: float) -> Edges:
        """Draw both outlines."""
        return joined([self.blob.edges(fine_um), self.hole.edges(fine_um).weighted(-1.0)])


def need_size(**sizes_um: float) -> None:
    """Refuse sizes that are no sizes."""
    faults = [
        f"{name.removesuffix('_um')}: read {size_um:g} um, expected a size above 0 um"
        for name, size_um in sizes_um.items()
        if not (np.isfinite(size_um) and size_um > 0)
    ]
    if faults:
        raise InputError(*faults)
