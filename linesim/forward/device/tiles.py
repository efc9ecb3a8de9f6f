"""Banded matrices cut into dense tiles of any size, and where the windows of the tiles lie."""

from dataclasses import dataclass, replace

import numpy as np

from linesim.forward.device.tables import Band
from linesim.forward.sampling.windows import Indices
from linesim.setup.arrays import ImageArray

_SIZES, _JUDGED = 16, 1024
"""Steps in which the size of a tile is looked for, and outputs by which it is chosen."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Tiles:
    """A banded matrix cut into dense tiles of equal size."""

    low: Indices  # shape (tiles,); first reference row or column of each tile; may lie outside
    which: Indices  # shape (tiles,)
    # shape (kinds, terms, size, window); the matrices. Behind the last output the last one is
    # repeated
    dense: ImageArray


def cut(band: Band, size: int) -> Tiles:
    """Cut a band into dense tiles; equal ones are kept once."""
    count = -(-len(band.first) // size) * size
    inside = np.minimum(np.arange(count), len(band.first) - 1).reshape(-1, size)
    first, which = band.first[inside], band.which[inside]
    low = first.min(axis=1)
    ahead = first - low[:, None]
    chosen, kind = kinds(np.concatenate([ahead, which], axis=1))
    ahead, which = ahead[chosen], which[chosen]
    taps = band.taps[which].swapaxes(1, 2)
    dense = np.zeros((len(chosen), taps.shape[1], size, window(band, size)), dtype=np.float32)
    place = ahead[:, None, :, None] + np.arange(taps.shape[3])
    np.put_along_axis(dense, np.broadcast_to(place, taps.shape), taps, axis=3)
    return Tiles(low=low, which=kind, dense=dense)


def kinds(rows: Indices) -> tuple[Indices, Indices]:
    """Name the first of each kind of rows, and the kind of each row; `numpy.unique` sorts them."""
    keys, first = [row.tobytes() for row in np.ascontiguousarray(rows)], dict[bytes, int]()
    for place, key in enumerate(keys):
        first.setdefault(key, place)
    number = {key: kind for kind, key in enumerate(first)}
    return np.array([*first.values()]), np.array([number[key] for key in keys])


def window(band: Band, size: int) -> int:
    """Count the reference rows or columns that a tile must hold."""
    count = -(-len(band.first) // size) * size
    first = band.first[np.minimum(np.arange(count), len(band.first) - 1)].reshape(-1, size)
    widest = int((first.max(axis=1) - first.min(axis=1)).max())
    return widest + int(band.taps.shape[2])


def folded(tiles: Tiles, total: int, seen: int, align: int) -> Tiles | None:
    """
    Bring all windows inside of a reference whose border value goes on.

    What a tile sees outside is the border itself: its weights are added to the border's.
    """
    last = total - seen
    low = np.clip(tiles.low // align * align, 0, max(last, 0) // align * align)
    wide = tiles.dense.shape[3]
    past = np.maximum(tiles.low + wide - total, 0)
    alike = np.stack([tiles.low - low, np.minimum(tiles.low, 0), past, tiles.which], axis=1)
    chosen, which = kinds(alike)
    place = tiles.low[chosen, None] + np.arange(wide)
    ahead = np.clip(place, 0, total - 1) - low[chosen, None]
    if last < 0 or int(ahead.max()) >= seen:
        return None
    dense = np.zeros((len(chosen), *tiles.dense.shape[1:3], seen), dtype=np.float32)
    for into, tile, place in zip(dense, chosen, ahead, strict=True):
        own = tiles.dense[tiles.which[tile]]
        start = int(np.count_nonzero(place == place[0])) - 1
        stop = max(wide - int(np.count_nonzero(place == place[-1])), start) + 1
        into[..., place[0] : place[-1] + 1] = own[..., start:stop]
        into[..., place[0]] += own[..., :start].sum(axis=-1)
        into[..., place[-1]] += own[..., stop:].sum(axis=-1)
    return Tiles(low=low, which=which, dense=dense)


def wrapped(tiles: Tiles, total: int, seen: int, align: int) -> Tiles:
    """Let all windows start within a reference that goes around."""
    low = tiles.low % total // align * align
    ahead = tiles.low % total - low
    chosen, which = kinds(np.stack([ahead, tiles.which], axis=1))
    dense = np.zeros((len(chosen), *tiles.dense.shape[1:3], seen), dtype=np.float32)
    for into, tile in zip(dense, chosen, strict=True):
        place = ahead[tile] + np.arange(tiles.dense.shape[3])
        into[..., place] = tiles.dense[tiles.which[tile]]
    return Tiles(low=low, which=which, dense=dense)


def best_size(band: Band, most: int, step: int, spare: int = 0) -> int:
    """Choose how many outputs of a tile are used, so that its window wastes least; by the first."""
    band = replace(band, first=band.first[:_JUDGED])

    def seen(size: int) -> int:
        return -(-(window(band, size) + spare) // step) * step

    sizes = range(most, most // 2, -max(1, most // _SIZES))
    return min(sizes, key=lambda size: seen(size) / size)


def runs(low: Indices, slack: int) -> list[slice]:
    """Part tiles into runs whose first rows or columns lie evenly, to so many."""
    found, todo = [], [slice(0, len(low))]
    while todo:
        part = todo.pop()
        off = low[part] - even_places(low[part])
        onward = low[part][-1] >= low[part][0]
        if (onward and int(off.max()) <= slack) or part.stop - part.start == 1:
            found.append(part)
        else:
            middle = (part.start + part.stop) // 2
            todo += [slice(middle, part.stop), slice(part.start, middle)]
    return found


def even_places(low: Indices) -> Indices:
    """Give the even places that lie at or before the first rows or columns of some tiles."""
    step = round(int(low[-1] - low[0]) / max(len(low) - 1, 1))
    even = low[0] + step * np.arange(len(low))
    return np.asarray(even + (low - even).min())
