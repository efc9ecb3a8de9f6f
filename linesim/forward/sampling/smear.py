"""
Sideways travel while a line is exposed: a pixel's side smeared by it, and how both motions join.

A pixel that moves by w across and by v along at once runs over a slanted line, whose transfer
sinc(w f_x + v f_y) is no product. In Legendre's polynomials of the time, P_n, it is a short sum of
products: A_n(y) is the pixel's side along travel while it moves, its places weighed by P_n, X_n(x)
that across, and the pixel sees Σ (2n+1) A_n X_n: in transfers Σ (−1)ⁿ (2n+1) j_n(πwf_x) j_n(πvf_y).
The first is the two boxes. Derived: Legendre's polynomials are orthogonal, and the transform of P_n
is a spherical Bessel function.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import ceil
from typing import NamedTuple

import numpy as np
import scipy

from linesim.forward.spread import Footprint
from linesim.forward.station import Station
from linesim.forward.transport import most_sideways_um
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

_LEAST = 0.02
"""Parts of a pixel: less sideways travel takes (π·0.02/2)²/6, 0.02 %, of what is at Nyquist."""
_LEFT_OUT = 0.003
"""Largest transfer at Nyquist of a product that is left out; lens and pixel leave a tenth of it."""
_MOST_ORDERS = 6
_STEPS = 4
"""Widths worked out for each pixel of sideways travel; between them what counts is its square."""
_NODE, _WEIGHT = np.polynomial.legendre.leggauss(12)


class Smears(NamedTuple):
    """
    Sideways travels that the across matrix is worked out for.

    Parameters
    ----------
    widths_um : tuple of float; rising, the first one 0 [µm]
    """

    widths_um: tuple[float, ...] = (0.0,)
    orders: int = 1


STILL = Smears()


@dataclass(frozen=True, slots=True, eq=False)
class Leaning:
    """A pixel's side along travel while it moves, its places weighed by P_n of the time."""

    foot: Footprint
    order: int

    @property
    def reach_um(self) -> float:
        """The blurred side is zero further than this from its centre. [µm]."""
        return self.foot.reach_um

    def moving_integral(self, x_um: FloatArray, travel_um: FloatArray) -> FloatArray:
        """Weight left of ``x_um`` for a pixel that travels evenly, from its place at the start."""
        return _weighed(self.foot.integral, x_um - travel_um / 2, travel_um, self.order)


@lru_cache(maxsize=512)
def smeared(foot: Footprint, width_um: float, order: int) -> Footprint:
    """Give a side that moves by a width about its place, weighed by P_n, over width to the n."""
    # what leans of a pixel at rest is none, but over the power of the width it has a limit
    moved_um = max(width_um, foot.step_um) if order else width_um
    if moved_um == 0:
        return foot
    reach_um = foot.reach_um + moved_um / 2
    x_um, step_um = np.linspace(
        -reach_um, reach_um, ceil(2 * reach_um / foot.step_um) + 1, retstep=True
    )
    once, slope = (
        _evenly(foot, x_um, moved_um) if order == 0 else _aslant(foot, x_um, moved_um, order)
    )
    # the integral of a cubic with these values and slopes at its ends
    rise = (once[1:] + once[:-1]) / 2 + step_um * (slope[:-1] - slope[1:]) / 12
    twice = np.concatenate([[0.0], np.cumsum(rise) * step_um])
    return Footprint(-reach_um, float(step_um), slope, once, twice)


def _evenly(foot: Footprint, x_um: FloatArray, width_um: float) -> tuple[FloatArray, FloatArray]:
    """Integrate a side that moves, and give its density."""
    ahead_um, behind_um = x_um + width_um / 2, x_um - width_um / 2
    density = (foot.integral(ahead_um) - foot.integral(behind_um)) / width_um
    return foot.moving_integral(ahead_um, np.asarray(width_um)), density


def _aslant(
    foot: Footprint, x_um: FloatArray, width_um: float, order: int
) -> tuple[FloatArray, FloatArray]:
    """Do so with weights, over the width to the n."""
    grid_um = np.linspace(-foot.reach_um, foot.reach_um, len(foot.once))

    def density(at_um: FloatArray) -> FloatArray:
        return np.interp(at_um, grid_um, foot.density_per_um, left=0.0, right=0.0)

    both = (_weighed(seen, x_um, width_um, order) for seen in (foot.integral, density))
    once, slope = (each / width_um**order for each in both)
    return once, slope


def _weighed(
    seen: Callable[[FloatArray], FloatArray],
    x_um: FloatArray,
    travel_um: FloatArray | float,
    order: int,
) -> FloatArray:
    """Average over the time about mid-exposure, weighed by P_n, by Gauss's rule."""
    counts = _WEIGHT / 2 * np.polynomial.legendre.legval(_NODE, [0.0] * order + [1.0])
    pairs = zip(_NODE.tolist(), counts.tolist(), strict=True)
    return np.asarray(sum(count * seen(x_um - travel_um * node / 2) for node, count in pairs))


def leaning(feet: tuple[Footprint, ...], orders: int) -> tuple[Leaning, ...]:
    """Give what follows the sides themselves: all of them in each further order."""
    return tuple(Leaning(foot, order) for order in range(1, orders) for foot in feet)


def smears_of(setup: Setup, numbers: Station, width_um: float) -> Smears:
    """
    Name the sideways travels to work out.

    Parameters
    ----------
    width_um : float; of a column, on the target [µm]

    Returns
    -------
    Smears; of a target that hardly moves sideways while exposed none but 0
    """
    place = numbers.geometry
    half_um = float(place.field_of_view_mm) * 500
    most_um = most_sideways_um(setup, float(np.max(numbers.timing.lit_us)) * 1e-6, half_um)
    if most_um < _LEAST * width_um:
        return STILL
    steps = ceil(_STEPS * most_um / width_um)
    travel_um = float(np.max(numbers.motion_um))
    return Smears(
        widths_um=tuple(np.linspace(0.0, most_um, steps + 1).tolist()),
        orders=_orders(most_um / width_um, travel_um / float(place.row_side_um)),
    )


def _orders(across_px: float, along_px: float) -> int:
    """Count the products that matter at half a cycle a pixel."""
    order = np.arange(1, _MOST_ORDERS)
    across, along = (
        scipy.special.spherical_jn(order, np.pi / 2 * px) for px in (across_px, along_px)
    )
    counts = (2 * order + 1) * np.abs(across * along) > _LEFT_OUT
    return 1 + int(order[counts].max(initial=0))
