"""
The product's own texture as noise: its power over frequencies, and what of it reaches samples.

A texture is a share of the product's level that comes and goes over the target. Its power P(f) is
that share squared per area of frequency, so that ∫∫P df is the square of its rms.

On an image it is measured in square tiles: each is brought to its own mean, tapered (Hann) and
transformed; at every frequency the median over the tiles counts, which a few tiles with faults do
not move. The power of a random field has an exponential distribution there, whose median is ln 2 of
its mean.

References
----------
A correlation exp(-r/ℓ) has the power 2π rms² ℓ² / (1 + (2πℓf)²)^(3/2), f in cycles a length
(derived; Hankel transform of the exponential). The noise of a sampled random field is the sum of
its aliases.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import lru_cache
from itertools import product
from typing import Protocol, TypeVar

import numpy as np
import scipy

from linesim.forward.geometry import Figure
from linesim.forward.pixel import pixel_mtf_across, pixel_mtf_along
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.levels import TILE, Tiles

Part = TypeVar("Part")
_FEWEST_TILES = 4
_DARKEST = 1e-3
"""Share of white under which a tile has no level to be rough about."""
_ALIASES = (-1, 0, 1)
"""Orders that are summed each way; behind pixel and lens, further ones are next to nothing."""


class Held(ABC):
    """A table: what changes numbers leaves it as it is."""

    __slots__ = ()

    @property
    @abstractmethod
    def frame(self) -> object:
        """Give what tells it from other tables."""


def widened(part: Part) -> Part:
    """Give every number two more axes, for frequencies across and along."""
    if part is None or isinstance(part, Held):
        return part
    if is_dataclass(part) and not isinstance(part, type):
        changes = {each.name: widened(getattr(part, each.name)) for each in fields(part)}
        return replace(part, **changes)
    if isinstance(part, tuple):
        return tuple(map(widened, part))  # type: ignore[return-value]
    return np.asarray(part)[..., None, None]  # type: ignore[return-value]


class Texture(Protocol):
    """How a product varies over its area, as a share of its level."""

    def power(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give its power over frequencies of both signs. [µm²]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """A texture alike in all directions whose correlation falls as exp(-r/ℓ)."""

    rms: Figure  # standard deviation, as a share of the product's level
    correlation_um: Figure  # distance ℓ over which the correlation falls to 1/e [µm]

    def power(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give its power. [µm²]."""
        turns = 2e-3 * np.pi * np.hypot(across_lp_mm, along_lp_mm) * self.correlation_um
        level_um2 = 2 * np.pi * np.square(self.rms * self.correlation_um)
        return np.asarray(level_um2 / (1 + np.square(turns)) ** 1.5)


class Table(Held):
    """Power of a measured texture over a quarter of the plane, in the target's own pixels."""

    __slots__ = ("power",)

    def __init__(self, power: FloatArray) -> None:
        self.power = power

    @property
    def frame(self) -> object:
        """Give what tells it from other tables."""
        return self.power.tobytes()


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredTexture:
    """A texture as measured on an image of good product."""

    table: Table = field(repr=False)
    pixel_um: Figure  # side of a pixel of that image on the target [µm]
    rms: Figure  # standard deviation over all frequencies, as a share of the product's level

    def power(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give its power, linear between the table's values, nothing beyond its pixels. [µm²]."""
        values = self.table.power
        high, wide = values.shape
        across, along, pixel_um = np.broadcast_arrays(
            np.abs(across_lp_mm), np.abs(along_lp_mm), self.pixel_um
        )
        places = np.stack(
            [2e-3 * along * pixel_um * (high - 1), 2e-3 * across * pixel_um * (wide - 1)]
        )
        found = scipy.ndimage.map_coordinates(values, places, order=1, mode="constant", cval=0.0)
        return np.asarray(found * pixel_um**2)


@lru_cache(maxsize=8)
def texture_of(tiles: Tiles) -> MeasuredTexture | None:
    """Measure a texture, faults left out, over the level around; None of too few tiles."""
    taper = np.hanning(TILE + 2)[1:-1]
    window = np.outer(taper, taper)
    lit = [tile for tile in tiles.data if float(tile.mean()) >= _DARKEST]
    if len(lit) < _FEWEST_TILES:
        return None
    powers = _powers(np.stack(lit), window)
    half = TILE // 2 + 1
    whole = np.median(powers, axis=0) / np.log(2)
    # rows of negative frequency mirror the others: the mean of both is even
    even = (whole[:half] + whole[-np.arange(half)]) / 2
    counted = whole * np.concatenate([[1], np.full(half - 2, 2), [1]])
    rms = float(np.sqrt(counted.sum() / TILE**2))
    return MeasuredTexture(table=Table(even), pixel_um=tiles.pixel_um, rms=rms)


def _powers(tiles: ImageArray, window: FloatArray) -> FloatArray:
    """Power of each tile, relative to its mean. [pixel²]."""
    means = np.array([tile.mean() for tile in tiles], dtype=tiles.dtype)[:, None, None]
    fields_of_tiles = (tiles / means - 1) * window
    return np.asarray(np.square(np.abs(np.fft.rfft2(fields_of_tiles))) / np.square(window).sum())


def sampled_power(
    wide: Station, texture: Texture, across_lp_mm: FloatArray, along_lp_mm: FloatArray
) -> FloatArray:
    """
    Give the variance a sample that a texture brings at a frequency, aliases included.

    It is a share of the product's level, squared: white noise of that variance has as much.

    Parameters
    ----------
    across_lp_mm, along_lp_mm : ndarray; with which the station's numbers broadcast [lp/mm]
    """
    steps = 1000 / wide.geometry.object_pixel_x_um, 1000 / wide.timing.line_advance_um
    cell_um2 = wide.geometry.object_pixel_x_um * wide.timing.line_advance_um
    found: FloatArray = np.zeros(())
    for fx, fy in _aliases((across_lp_mm, along_lp_mm), steps):
        found = found + np.square(seen_mtf(wide, fx, fy)) * texture.power(fx, fy)
    return np.asarray(found / cell_um2)


def seen_mtf(wide: Station, fx: FloatArray, fy: FloatArray) -> FloatArray:
    """
    Give the transfer of lens, pixel and motion at a frequency of any direction.

    Parameters
    ----------
    fx, fy : ndarray; on the target, with which the station's numbers broadcast [lp/mm]
    """
    lens = wide.optics.mtf_on_target(fx, fy)
    return np.asarray(lens * pixel_mtf_across(wide, fx) * pixel_mtf_along(wide, fy))


def _aliases(
    place: tuple[FloatArray, FloatArray], steps: tuple[Figure, Figure]
) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Fold a frequency into the first zone, and name it and its nearest aliases."""
    folded = [each - step * np.rint(each / step) for each, step in zip(place, steps, strict=True)]
    for one, other in product(_ALIASES, repeat=2):
        yield (
            np.asarray(folded[0] + one * np.asarray(steps[0])),
            np.asarray(folded[1] + other * np.asarray(steps[1])),
        )
