"""
Long shapes: a bent stroke of even or pointed width, and a streak that fades on all sides.

A stroke follows a parabola (a quadratic Bézier curve) of chord c and rise b·c, whose length is
c (√(1 + 16b²)/2 + asinh(4b)/(8b)). The band within w/2 on its normals has the area ∫ w ds whatever
the bend, as long as the curve's radius is nowhere under w/2. The half of it on the outer side is
larger by ∫ w² κ ds/8, which is w² atan(4b)/4 for an even width, and the inner half smaller.
"""

from dataclasses import dataclass
from math import asinh, ceil, hypot, inf, pi, sqrt

import numpy as np

from linesim.defects.blobs import need_size, soft_levels
from linesim.defects.edges import Edges, closed, nested
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse

_FEWEST_STEPS = 128
_END_STEPS = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A bent stroke; at a turn of 0 its chord runs along travel."""

    length_um: float
    width_um: float
    bend: float = 0.0
    taper: float = 0.0
    side: int = 0

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        need_size(length_um=self.length_um, width_um=self.width_um)
        if not 0 <= self.taper <= 0.5:  # noqa: PLR2004 -- both ends together are the whole
            refuse(f"taper: read {self.taper:g}, expected 0 to 0.5")
        if not self.width_um < 2 * self.tightest_um:
            refuse(
                f"bend: read {self.bend:g}, which bends the stroke to a radius of "
                f"{self.tightest_um:g} um; expected more than half its width, "
                f"{self.width_um / 2:g} um"
            )

    @property
    def chord_um(self) -> float:
        """From end to end. [µm]."""
        b = 4 * abs(self.bend)
        return self.length_um / (hypot(1, b) / 2 + (asinh(b) / (2 * b) if b else 0.5))

    @property
    def tightest_um(self) -> float:
        """Radius of the curve in its middle. [µm]."""
        return self.chord_um / (8 * abs(self.bend)) if self.bend else inf

    def edges(self, fine_um: float) -> Edges:
        """Draw the outline."""
        low, high = min(self.side, 0) if self.side else -1, max(self.side, 0) if self.side else 1
        bow_um = abs(self.bend) * self.chord_um + self.width_um
        steps = _FEWEST_STEPS + ceil(sqrt(bow_um / fine_um))
        along = np.linspace(-1, 1, 2 * steps + 1)
        angle = np.linspace(low, high, steps * (high - low) + 1) * pi / 2
        even, end = np.ones_like(along), np.ones_like(angle)
        # up one side, around the far end, back on the other side, around the near end
        place = np.concatenate([along, end, along[::-1], -end])
        aside = np.concatenate([low * even, np.sin(angle), high * even, np.sin(angle[::-1])])
        past = np.concatenate([0 * even, np.cos(angle), 0 * even, -np.cos(angle[::-1])])
        return closed(*self._points(place, aside, past))

    def _points(
        self, place: FloatArray, aside: FloatArray, past: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Step off the curve at -1 to 1 along it, by so many half widths aside and ahead."""
        half_um = self._half_um(place)
        slope = -4 * self.bend * place
        tilt = np.hypot(1, slope)
        x_um = self.bend * self.chord_um * (1 - place**2)
        y_um = self.chord_um / 2 * place
        return (
            x_um + half_um * (aside + past * slope) / tilt,
            y_um + half_um * (past - aside * slope) / tilt,
        )

    def _half_um(self, place: FloatArray) -> FloatArray:
        """Half width at -1 to 1 along the curve."""
        if not self.taper:
            return np.full_like(place, self.width_um / 2)
        b = 4 * abs(self.bend)
        run = np.abs(place)
        if b:
            run = run * np.hypot(1, b * run) / 2 + np.arcsinh(b * run) / (2 * b)
        to_end = (1 - run * self.chord_um / self.length_um) / 2
        return np.asarray(self.width_um / 2 * np.clip(to_end / self.taper, 0, 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class SoftStreak:
    """
    A streak along travel at a turn of 0, without any sharp edge.

    Its opacity is the product of a raised cosine across, of half its height at ``width_um/2``, and
    of even ends along that fall as a raised cosine over ``fade_um``, one half at ``length_um/2``.
    So its area, each part by its opacity, is width x length.
    """

    length_um: float
    width_um: float
    fade_um: float

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        need_size(length_um=self.length_um, width_um=self.width_um, fade_um=self.fade_um)
        if self.fade_um > self.length_um:
            refuse(
                f"fade: read {self.fade_um:g} um, expected up to the length, {self.length_um:g} um"
            )

    def edges(self, fine_um: float) -> Edges:  # noqa: ARG002 -- as every shape
        """Draw the outlines of equal opacity."""
        away, weights = soft_levels()
        # one a row, each of which reaches ``away`` fades past half the length
        opacity = _raised_cosine(away)[:, None]
        # denser towards the tip, where it is round
        dense = 1 - np.linspace(1, 0, _END_STEPS) ** 2
        fall = -0.5 + (away[:, None] + 0.5) * dense
        along = np.maximum(_raised_cosine(fall), opacity)
        half_um = self.width_um / pi * np.arccos(2 * opacity / along - 1)
        tip_um = self.length_um / 2 + self.fade_um * fall
        return nested(
            np.concatenate([half_um, -half_um[:, ::-1], -half_um, half_um[:, ::-1]], axis=1),
            np.concatenate([tip_um, tip_um[:, ::-1], -tip_um, -tip_um[:, ::-1]], axis=1),
            weights,
        )


def _raised_cosine(fall: FloatArray | float) -> FloatArray:
    """Opacity from 1 at -0.5 of a fall to 0 at 0.5."""
    return np.asarray((1 - np.sin(pi * np.asarray(fall))) / 2)
