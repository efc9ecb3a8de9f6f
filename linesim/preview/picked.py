"""
Some columns of both halves of the forward model, for windows that are narrower than the line.

What a column sees is unchanged. The random streams run over the columns that are drawn, so that the
noise of a narrow window is another draw than the scan's; the fixed pattern is that of its columns.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from linesim.forward.capture import Capturer
from linesim.forward.expose import Exposer
from linesim.forward.reference import Reference
from linesim.forward.sampling.across import AcrossTile
from linesim.forward.sampling.sampler import Sampler
from linesim.forward.stage import Columns
from linesim.setup.arrays import ImageArray

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cropped:
    """Some columns of a reference."""

    source: Reference
    first: int
    last: int

    @property
    def pixel_size_um(self) -> float:
        """Side of one square pixel on the target. [µm]."""
        return self.source.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns) or (rows, columns, 3)."""
        rows, _, *bands = self.source.shape
        return (rows, self.last - self.first, *bands)

    def rows(self, first: int, last: int) -> ImageArray:
        """Give some rows."""
        return self.source.rows(first, last)[:, self.first : self.last]


def physical(columns: Indices, across: int) -> Indices:
    """Name the physical columns of delivered ones."""
    return np.asarray((columns[:, None] * across + np.arange(across)).ravel())


def exposed_columns(see: Exposer, columns: Indices) -> Exposer:
    """Take some columns of the first half."""
    samplers = tuple(_sampler(each, columns) for each in see.samplers)
    return replace(see, samplers=samplers, ambient=see.ambient[columns])


def _sampler(whole: Sampler, columns: Indices) -> Sampler:
    tiles: list[AcrossTile] = []
    for tile in whole.tiles:
        own = columns[(columns >= tile.first) & (columns < tile.last)] - tile.first
        if own.size:
            first = tiles[-1].last if tiles else 0
            phases = tuple(phase[:, :, own] for phase in tile.phases)
            moved = replace(tile, first=first, last=first + own.size, phases=phases)
            places_um = tile.places_um[own]
            tiles.append(replace(moved, profile=tile.profile[own], places_um=places_um))
    # what repeats or sways may look anywhere
    if whole.repeat or len(tiles[0].phases) > 1:
        return replace(whole, tiles=tuple(tiles))
    width = whole.reference.shape[1]
    low = min(max(min(tile.low for tile in tiles), 0), width - 1)
    high = max(min(max(tile.low + tile.count for tile in tiles), width), low + 1)
    return replace(
        whole,
        reference=Cropped(source=whole.reference, first=low, last=high),
        tiles=tuple(replace(tile, low=tile.low - low) for tile in tiles),
    )


def captured_columns(keep: Capturer, columns: Indices) -> Capturer:
    """Take some columns of the second half."""
    own = physical(columns, keep.across)
    return keep.at(Columns(as_they_come=own, delivered=columns))
