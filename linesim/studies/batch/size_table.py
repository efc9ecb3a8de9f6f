"""
What of a defect reaches the samples, for very many options behind few blurs: read off tables.

The integrals of `linesim.metrics.detection.energy` depend on the size of a defect and on the blur,
not on light and noise. For each blur they are tabulated over the size as Chebyshev series over ln
size, piece by piece: logarithms of Σs² and the like, and shares as they are. On a product with
texture they depend on its level over the noise too, which weighs texture against noise: series
over the logarithm of that ratio stand behind each of the others, 6 nodes for a factor of e. As a
function of it the share of white noise, 1/(1 + r²P), has its poles at a distance of π/2, so that
such a series is right to (2π)⁻⁶, 2·10⁻⁵ (derived; Bernstein's ellipse). For a first search 4 nodes
for a factor of e² will do: 3.4⁻⁴, 0.007. Everything beyond the integrals, from d' to the threshold
of the search, is worked out for each option as everywhere else.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev

from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.detection.energy import Backdrop, Energies, Shape, energies
from linesim.metrics.detection.sighting import cell_m2
from linesim.metrics.detection.texture import Texture
from linesim.setup.arrays import FloatArray
from linesim.studies.batch.station_arrays import Places, mapped

OfWidth = Callable[[Figure], Shape]
NODES = 8
"""Of the series of one piece."""
EXACT, COARSE = (6, 1.0), (4, 2.0)
"""Nodes of a piece over the logarithm of level over noise, and its length."""
_IN_RATIOS = ("samples", "columns", "looks", "slopes", "lines")
_PLAIN = ("wave_x", "wave_y", "noise_share")
_LEAST = 1e-300
_INTEGRALS = 256
"""Worked out at once, with 1024 frequencies each, so that they stay in the cache."""
WORKERS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What is searched behind some blurs."""

    blurs: Station
    of_width: OfWidth
    texture: Texture | None = None
    ratios: tuple[float, float] = (0.0, 0.0)

    @property
    def pixel_um(self) -> FloatArray:
        """Object pixel of each blur. [µm]."""
        return np.asarray(self.blurs.geometry.object_pixel_x_um)[:, 0]

    @property
    def count(self) -> int:
        """How many blurs there are."""
        return len(self.pixel_um)


def integrals(seen: Seen, width_um: FloatArray, ratio: FloatArray) -> Energies:
    """Work out the integrals for many sizes behind many blurs."""
    backdrop = None
    if seen.texture is not None:
        backdrop = Backdrop(texture=seen.texture, level_e=ratio, noise_e=1.0)
    step = max(1, _INTEGRALS // (width_um.shape[1] * (ratio.size if backdrop else 1)))
    parts = [slice(start, start + step) for start in range(0, len(width_um), step)]

    def of_part(part: slice) -> Energies:
        some = mapped(seen.blurs, lambda leaf: leaf[part][..., None])
        return energies(some, seen.of_width(width_um[part][..., None]), backdrop)

    with ThreadPoolExecutor(WORKERS) as pool:
        found = list(pool.map(of_part, parts))
    shape = (*width_um.shape, ratio.size)
    whole = {
        name: _whole([getattr(each, name) for each in found], parts, shape)
        for name in (*_IN_RATIOS, *_PLAIN, "covered")
    }
    return Energies(**whole)


def _whole(found: list[Figure], parts: list[slice], shape: tuple[int, int, int]) -> FloatArray:
    """Join what was worked out part by part."""
    table = np.empty(shape)
    for part, values in zip(parts, found, strict=True):
        table[part] = values
    return table


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SizeTable:
    """Series over equal pieces of a range of ln size for each of k blurs."""

    seen: Seen  # what is searched
    low: FloatArray  # shape (k,); ends of ln size; equal where there is one size alone
    high: FloatArray
    # shape (k, pieces, ratio pieces, nodes, terms, figures); of sizes, and of ratios; without
    # texture the latter have one piece and one term
    series: FloatArray

    def reader(self, blur: Places, log_ratio: FloatArray) -> "Reader":
        """Make ready to read for options, whose ratios stay."""
        if self.seen.texture is None:
            series = self.series[blur, :, 0, :, 0]
        else:
            start, end = self.seen.ratios
            part = (log_ratio - start) / max(end - start, 1e-9)
            _, _, pieces, _, terms, _ = self.series.shape
            piece, basis = _inside(part, pieces, terms)
            series = np.zeros(())
            for term in range(terms):
                weight = basis[:, term, None, None, None]
                series = series + weight * self.series[blur, :, piece, :, term]
        cell_um2 = 1e12 * np.asarray(cell_m2(self.seen.blurs))[:, 0]
        return Reader(
            of_width=self.seen.of_width,
            low=self.low[blur],
            high=self.high[blur],
            cell_um2=cell_um2[blur],
            series=series,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reader:
    """What reaches the samples for some options, over the size."""

    of_width: OfWidth  # gives the shape of a width
    low: FloatArray  # shape (n,); ends of ln size
    high: FloatArray
    cell_um2: FloatArray  # shape (n,); area that a sample stands for [µm²]
    series: FloatArray  # shape (n, pieces, nodes, figures); over equal pieces of the sizes

    def at(self, log_um: FloatArray, some: Places | None = None) -> Energies:
        """Read off what of defects reaches the samples."""
        which = np.arange(len(self.low)) if some is None else some
        low, high = self.low[which], self.high[which]
        share = (log_um - low) / np.where(high > low, high - low, 1.0)
        piece, basis = _inside(share, self.series.shape[1])
        read = np.einsum("nsf,ns->fn", self.series[which, piece], basis)
        nowhere = np.zeros(())
        area_um2 = self.of_width(np.exp(log_um)).transform(nowhere, nowhere)
        return Energies(
            covered=area_um2 / self.cell_um2[which],
            **dict(zip(_IN_RATIOS, np.exp(read[: len(_IN_RATIOS)]), strict=True)),
            **dict(zip(_PLAIN, read[len(_IN_RATIOS) :], strict=True)),
        )


def _inside(share: FloatArray, pieces: int, terms: int = NODES) -> tuple[Places, FloatArray]:
    """Give the piece that a place lies in, and the polynomials there."""
    place = share * pieces
    piece = np.clip(place.astype(np.intp), 0, pieces - 1)
    basis: FloatArray = np.asarray(
        chebyshev.chebvander(2 * (place - piece) - 1, terms - 1), dtype=np.float64
    )
    return piece, basis


def size_table(
    seen: Seen,
    ends: tuple[FloatArray, FloatArray],
    pieces: int,
    ratio_nodes: tuple[int, float] = EXACT,
) -> SizeTable:
    """Tabulate what reaches the samples."""
    low, high = ends
    inside = _nodes(NODES)
    log_um = low[:, None] + (high - low)[:, None] * _places(inside, pieces)
    # without texture the ratio is no matter: one node, of one piece
    count, length = (1, np.inf) if seen.texture is None else ratio_nodes
    start, end = seen.ratios
    parts = max(1, int(np.ceil((end - start) / length)))
    log_ratio = start + (end - start) * _places(_nodes(count), parts)
    # one size alone is worked out once
    sizes = log_um[:, :1] if bool(np.all(low == high)) else log_um
    found = integrals(seen, np.exp(sizes), np.exp(log_ratio))
    logs = [np.log(np.maximum(getattr(found, name), _LEAST)) for name in _IN_RATIOS]
    values = np.stack([*logs, *(getattr(found, name) for name in _PLAIN)], axis=-1)
    values = np.broadcast_to(values, (*log_um.shape, *values.shape[2:]))
    parted = values.reshape(len(low), pieces, NODES, parts, count, values.shape[-1])
    solved, along = (np.linalg.inv(chebyshev.chebvander(_nodes(n), n - 1)) for n in (NODES, count))
    series = np.einsum("sx,ry,kpxqyf->kpqsrf", solved, along, parted, optimize=True)
    return SizeTable(seen=seen, low=low, high=high, series=np.ascontiguousarray(series))


def _nodes(count: int) -> FloatArray:
    """Give the nodes of a series from -1 to 1."""
    return np.cos(np.pi * (np.arange(count) + 0.5) / count)


def _places(inside: FloatArray, pieces: int) -> FloatArray:
    """Spread the nodes of each piece over a range from 0 to 1."""
    return ((np.arange(pieces)[:, None] + (inside + 1) / 2) / pieces).ravel()
