"""
What a lens does over the line: where each column looks, and zones of columns that it blurs alike.

In a zone the blur changes from one column to the next. Its spread is laid between those at the
zone's two ends, S = (1 - t) S_a + t S_b, t from 0 to 1 over the zone: both are sums of separable
terms, and so is what lies between. Zones are halved until an edge in the middle of one is told by
its ends to 0.02 % of white.

A lens that distorts by D, its real image height over the ideal one less 1 (ISO 9039), lets a place
x of the sensor look at x/(m (1 + D)) on the target. Across, an object pixel is then what lies
between the places of its two sides; along travel it is 1/(1 + D) of one in the middle. Lateral
colour puts a colour's image further out by its share of the image height.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from linesim.forward.channels import colour_shift_um
from linesim.forward.spread import Footprint
from linesim.setup.arrays import FloatArray
from linesim.setup.lens.over_field import OverField, value_at
from linesim.setup.setup import Setup

EDGE_ERROR = 2e-4
"""Of white, at an edge in the middle of a zone; pictures of many edges stay under 0.1 %."""
LEAST_COLUMNS = 4
"""Of a zone."""
_FIRST_CUTS = 8
"""Zones to begin with: values given at the middle, 0.7 and the end bend in each of them once."""
_PROBES = 257


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """Both sides of a pixel, blurred, one footprint a lens term."""

    across: tuple[Footprint, ...]
    along: tuple[Footprint, ...]
    weights: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Zone:
    """
    Columns that share their terms.

    Parameters
    ----------
    first, last : int; columns, ``last`` exclusive
    sides : Sides; of the pixels; where the blur changes, those of both ends one after the other
    shares : ndarray of shape (terms, last - first), or None
        Factor of each term in each column; None: 1.
    """

    first: int
    last: int
    sides: Sides
    shares: FloatArray | None = None


def uneven_keys(setup: Setup) -> tuple[str, ...]:
    """
    Name the keys of the lens by which columns are blurred, or lie, unlike others.

    Parameters
    ----------
    setup : Setup
    """
    lens = setup.lens
    over = {
        "blur": lens.blur_um,
        "blur_across": lens.blur_across_um,
        "blur_along": lens.blur_along_um,
        "defocus": lens.defocus_mm,
    }
    found = [key for key, given in over.items() if isinstance(given, OverField)]
    return (*found, *(["distortion"] if lens.distortion is not None else []))


def stretched(setup: Setup, position: FloatArray) -> FloatArray:
    """
    Give real over ideal image heights, 1 + D.

    Parameters
    ----------
    setup : Setup
    position : ndarray; places along the line, from -1 to 1
    """
    given = setup.lens.distortion
    if given is None:
        return np.ones_like(position)
    return 1 + value_at(given, position, setup.half_line_mm, power=2)


def places_um(setup: Setup, channel: int, nominal_um: FloatArray) -> FloatArray:
    """
    Tell where places of the line look on the target.

    Parameters
    ----------
    setup : Setup
    channel : int; 0 for monochrome and red, 1 for green, 2 for blue
    nominal_um : ndarray
        From the optical axis, on the target, as the magnification alone has it. [µm]

    Returns
    -------
    ndarray; of the same shape [µm]
    """
    shift_um = colour_shift_um(setup, channel, nominal_um * setup.magnification)
    if shift_um is None and setup.lens.distortion is None:
        return nominal_um
    moved_um = nominal_um - (0.0 if shift_um is None else shift_um) / setup.magnification
    position = _position(setup, moved_um)
    return np.asarray(moved_um / stretched(setup, position))


def _position(setup: Setup, place_um: FloatArray) -> FloatArray:
    """Give places on the target, as the magnification has them, as parts of half the line."""
    return np.asarray(place_um * setup.magnification / (1000 * setup.half_line_mm))


def zones_of(
    setup: Setup, nominal_um: FloatArray, sides_at: Callable[[float], Sides]
) -> tuple[Zone, ...]:
    """
    Cut the line into zones.

    Parameters
    ----------
    setup : Setup
    nominal_um : ndarray; middles of the columns from the optical axis, on the target [µm]
    sides_at : callable; gives a pixel's sides at a place of the line, from -1 to 1
    """
    columns = len(nominal_um)
    if not uneven_keys(setup):
        return (Zone(first=0, last=columns, sides=sides_at(0.0)),)
    ends = np.append(np.arange(0, columns, LEAST_COLUMNS), columns)
    position = _position(setup, nominal_um)
    # a zone begins half a column before the middle of its first
    half = (position[-1] - position[0]) / max(columns - 1, 1) / 2
    at = np.append(position - half, position[-1] + half)[ends]
    line = _Line(ends=ends, at=at, position=position, sides_at=cache(sides_at))
    count = len(ends) - 1
    cuts = sorted({round(count * k / _FIRST_CUTS) for k in range(_FIRST_CUTS + 1)})
    return tuple(zone for part in pairwise(cuts) for zone in line.zones(*part))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Line:
    """Places where zones may end, by number."""

    ends: NDArray[np.intp]  # first column behind each
    at: FloatArray  # place of each, from -1 to 1
    position: FloatArray  # that of each column
    sides_at: Callable[[float], Sides]

    def sides(self, cut: int) -> Sides:
        return self.sides_at(float(self.at[cut]))

    def zones(self, first: int, last: int) -> Iterator[Zone]:
        """Halve what lies between two places until these tell all of it."""
        middle = (first + last) // 2
        both = self.sides(first), self.sides(last)
        share = (self.at[middle] - self.at[first]) / (self.at[last] - self.at[first])
        if last - first > 1 and _error(both, self.sides(middle), share) > EDGE_ERROR:
            yield from self.zones(first, middle)
            yield from self.zones(middle, last)
            return
        columns = int(self.ends[first]), int(self.ends[last])
        inside = self.position[slice(*columns)]
        yield _between(columns, both, (inside - self.at[first]) / (self.at[last] - self.at[first]))


def _between(columns: tuple[int, int], ends: tuple[Sides, Sides], share_b: FloatArray) -> Zone:
    a, b = ends
    if a is b:
        return Zone(first=columns[0], last=columns[1], sides=a)
    both = Sides(across=a.across + b.across, along=a.along + b.along, weights=a.weights + b.weights)
    shares = np.concatenate(
        [np.tile(1 - share_b, (len(a.weights), 1)), np.tile(share_b, (len(b.weights), 1))]
    )
    return Zone(first=columns[0], last=columns[1], sides=both, shares=shares)


def _error(ends: tuple[Sides, Sides], middle: Sides, share_b: float) -> float:
    """Largest error of an edge where its ends stand in for the middle, in either direction."""
    found = []
    for name in ("across", "along"):
        a, b, own = (getattr(each, name)[0] for each in (*ends, middle))
        reach_um = max(foot.reach_um for foot in (a, b, own))
        x_um = np.linspace(-reach_um, reach_um, _PROBES)
        blended = (1 - share_b) * a.integral(x_um) + share_b * b.integral(x_um)
        found.append(float(np.abs(blended - own.integral(x_um)).max()))
    return max(found)
