"""A line light as a point of the target sees it, and the light that it throws on a level face."""

from dataclasses import dataclass, replace

import numpy as np

from linesim.setup.arrays import FloatArray

Tangent = float | FloatArray
_NODES = 64
"""Of Gauss and Legendre over the width of a lamp that ends: the integrand is smooth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A line light as a point of the target sees it: a flat face, turned towards the line."""

    # its edges from the normal in the plane of travel, positive away from the camera [deg]
    low_deg: float
    high_deg: float
    # shape (points,); tangents of the angles at which the middles of its ends are seen along the
    # line, infinite where it is endless
    left: Tangent = -np.inf
    right: Tangent = np.inf

    @property
    def endless(self) -> bool:
        """Whether it goes on for ever along the line."""
        return bool(np.all(np.isinf(self.left)) and np.all(np.isinf(self.right)))

    @property
    def middle_deg(self) -> float:
        """Angle of its middle from the normal. [deg]."""
        return (self.low_deg + self.high_deg) / 2

    @property
    def level(self) -> Tangent:
        """
        Irradiance of a level face over the radiance of the lamp.

        Of an endless one (π/2) (sin b - sin a); otherwise ∫ cos a ∫ cos² t dt da, where the end
        is seen under tan t = tan T cos(a - m), as the flat face is farther away at its edges.
        """
        low, high = np.radians([self.low_deg, self.high_deg])
        if self.endless:
            return float((np.sin(high) - np.sin(low)) * np.pi / 2)
        node, weight = np.polynomial.legendre.leggauss(_NODES)
        angle, half = (low + high) / 2 + (high - low) / 2 * node, (high - low) / 2
        left, right = self.ends_at(angle)
        found = (_squares(right) - _squares(left)) @ (half * weight * np.cos(angle))
        return found if found.ndim else float(found)

    def ends_at(self, angle: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Angles along the line of both ends, at angles in the plane of travel. [rad]."""
        nearer = np.cos(angle - np.radians(self.middle_deg))
        left, right = (
            np.arctan(np.asarray(end)[..., None] * nearer) for end in (self.left, self.right)
        )
        return left, right

    def seen_from(self, along: Tangent) -> "Strip":
        """Give the same lamp to points of the line, by their places over its distance."""
        if self.endless:
            return self
        return replace(self, left=self.left - along, right=self.right - along)


def _squares(angle: FloatArray) -> FloatArray:
    """Integrate cos² from 0 to an angle."""
    return np.asarray(angle / 2 + np.sin(2 * angle) / 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """One light of a station."""

    strip: Strip  # as the middle of the line sees it
    irradiance_w_m2: Tangent  # of the level target in the middle of the line [W/m²]
    distance_mm: float = np.inf  # from there; infinite where it is left out [mm]
    behind: bool = False  # whether it shines through the target

    @property
    def radiance_w_m2_sr(self) -> Tangent:
        """Of its face, even all over. [W/(m² sr)]."""
        return self.irradiance_w_m2 / self.strip.level

    def falls(self, place_mm: FloatArray) -> FloatArray:
        """Give its light at places along the line, over that in the middle."""
        if self.strip.endless:
            return np.ones_like(place_mm)
        flat = np.ravel(place_mm / self.distance_mm)
        return np.reshape(self.strip.seen_from(flat).level / self.strip.level, np.shape(place_mm))
