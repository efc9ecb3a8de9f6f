"""The relief of a target: heights from an image, and a table of what slopes send to the camera."""

import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil
from pathlib import Path
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.files.images_in import read_image
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse
from linesim.targets.faces.face import Face, factors

_STEPS = 2.5
"""Of the coarse table in the smaller rms slope; a lobe is smooth on that scale."""
_FINER, _FINEST, _SIDE = 8, 16, 1500
"""Steps of the fine table in one of the coarse; and about how many there are in a row of it."""
_AT_ONCE = 1 << 15
"""Pixels that are worked on together, so that they stay in the processor's cache."""
_MOST_FACES = 300
_MARGIN = 4
_MATT_STEP = 0.1
_PLACES = 3
"""
Places along the line within which light turns by one rms slope, for the tables of relief: between
them the edge of a lamp, a normal integral, errs by h²/8 times its largest curvature, 0.3 %.
"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SlopeTable:
    """What slopes send to the camera from one place of the line."""

    # places in the tables for a difference of heights over two pixels, across and along
    steps: tuple[float, float]
    starts: tuple[float, float]  # places of a level pixel
    # shape (along, across); radiance factors of white's matt part and of the mirrored light
    matt: ImageArray
    gloss: ImageArray
    # shape (along, across); of light mirrored without gloss, where an image says how much gloss
    # there is
    bare: ImageArray | None = None

    def at(self, rises: tuple[ImageArray, ImageArray]) -> NDArray[np.int32]:
        """Find the nearest faces, by differences of heights along and across over two pixels."""
        along, across = rises
        places = _nearest(along, self.steps[1], self.starts[1])
        places *= self.matt.shape[1]
        places += _nearest(across, self.steps[0], self.starts[0])
        return places


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relief:
    """Heights of a target, and what slopes send to the camera."""

    # shape (rows + 2, columns + 2); on the target's own pixels, and one more on each side [µm]
    heights: ImageArray
    tables: tuple[SlopeTable, ...]  # one for each place along the line that is worked out
    columns: FloatArray  # where those places are, in columns of the target

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the target."""
        rows, columns = self.heights.shape
        return rows - 2, columns - 2

    def light(self, data: ImageArray, first: int, gloss: ImageArray | None = None) -> None:
        """Turn reflectances of rows into radiance factors, in place, a few rows at a time."""
        rows, columns = data.shape[:2]
        for mixed in self.mixes(columns):
            count = max(1, _AT_ONCE // (mixed.columns.stop - mixed.columns.start))
            for low in range(0, rows, count):
                part = slice(low, min(low + count, rows))
                own = None if gloss is None else gloss[part, mixed.columns]
                self._light(data[part, mixed.columns], first + low, mixed, own)

    def mixes(self, columns: int) -> Iterator["Mix"]:
        """Between two places their tables are mixed."""
        if len(self.tables) == 1:
            yield Mix(slice(0, columns), self.tables, None)
            return
        middle = np.arange(columns)
        # the columns beyond the outermost places go with those
        place = np.clip(np.searchsorted(self.columns, middle, "right") - 1, 0, len(self.tables) - 2)
        for each in np.unique(place).tolist():
            own = np.flatnonzero(place == each)
            low, high = self.columns[each : each + 2]
            weight = np.clip((own - low) / (high - low), 0, 1).astype(np.float32)
            yield Mix(slice(own[0], own[-1] + 1), self.tables[each : each + 2], weight)

    def _light(self, part: ImageArray, first: int, mixed: "Mix", gloss: ImageArray | None) -> None:
        columns = mixed.columns
        window = self.heights[first : first + len(part) + 2, columns.start : columns.stop + 2]
        found = []
        for table in mixed.tables:
            along = window[2:, 1:-1] - window[:-2, 1:-1]
            places = table.at((along, window[1:-1, 2:] - window[1:-1, :-2]))
            matt, sheen = (each.ravel().take(places) for each in (table.matt, table.gloss))
            if gloss is not None and table.bare is not None:
                bare = table.bare.ravel().take(places)
                sheen = gloss * (sheen - bare) + bare
            found.append((matt, sheen))
        matt, sheen = found[0]
        if mixed.weight is not None:
            matt, sheen = (a + mixed.weight * (b - a) for a, b in zip(*found, strict=True))
        part *= matt if part.ndim == matt.ndim else matt[..., None]
        part += sheen if part.ndim == sheen.ndim else sheen[..., None]


class Mix(NamedTuple):
    """Some columns, and the tables of the places on both sides of them."""

    columns: slice
    tables: tuple[SlopeTable, ...]
    weight: ImageArray | None


def _nearest(rise: ImageArray, step: float, start: float) -> NDArray[np.int32]:
    rise *= np.float32(step)
    rise += np.float32(start + 0.5)  # what is cut off rounds
    return rise.astype(np.int32)


class Heights(NamedTuple):
    """Heights, and how much they rise over two pixels."""

    data: ImageArray  # as of `Relief`
    rises_um: tuple[tuple[float, float], tuple[float, float]]  # least and most across, and along

    @classmethod
    def of(cls, inner: ImageArray) -> "Heights":
        """Add one more on each side, in line with the last two, and see how steep they are."""
        data = np.pad(inner, 1, mode="reflect", reflect_type="odd")
        rows, columns = data.shape
        count = max(3, _AT_ONCE // columns)
        parts = [data[first : first + count + 2] for first in range(0, rows - 2, count)]
        across = [part[:, 2:] - part[:, :-2] for part in parts]
        along = [part[2:] - part[:-2] for part in parts]
        return cls(data, (_least_most(across), _least_most(along)))


def _least_most(parts: Iterable[ImageArray]) -> tuple[float, float]:
    ends = np.array([(part.min(), part.max()) for part in parts])
    return float(ends[:, 0].min()), float(ends[:, 1].max())


def relief_of(heights: Heights, pixel_um: float, face: Face, *, name: str, bare: bool) -> Relief:
    """Make the tables of a face for heights, ``bare``: also of the light without gloss."""
    # a face that rises turns its normal back
    spans = tuple(
        (lean - most / (2 * pixel_um), lean - least / (2 * pixel_um))
        for lean, (least, most) in zip(face.slopes, heights.rises_um, strict=True)
    )
    columns = heights.data.shape[1] - 2
    half_mm = columns * pixel_um / 2000
    smallest = min(face.finish.rms_across, 0.1) if face.finish else 0.1
    places_mm = face.places(half_mm, smallest / _PLACES)
    tables = _at_places(face, spans, pixel_um, tuple(places_mm.tolist()), (name, bare))
    return Relief(
        heights=heights.data, tables=tables, columns=(places_mm + half_mm) * 1000 / pixel_um - 0.5
    )


@lru_cache(maxsize=4)
def _at_places(
    face: Face,
    spans: tuple[tuple[float, float], ...],
    pixel_um: float,
    places_mm: tuple[float, ...],
    asked: tuple[str, bool],
) -> tuple[SlopeTable, ...]:
    """Make the tables of all places along the line, in threads."""
    name, bare = asked
    finish = face.finish
    rms = (finish.rms_across, finish.rms_along) if finish else (_MATT_STEP * _STEPS,) * 2
    grids = [_grid(span, each, name) for span, each in zip(spans, rms, strict=True)]
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        return tuple(
            pool.map(lambda place: _table(face, grids, pixel_um, place, bare=bare), places_mm)
        )


def _table(
    face: Face, grids: list[FloatArray], pixel_um: float, place_mm: float, *, bare: bool
) -> SlopeTable:
    fine = [_refined(grid) for grid in grids]
    matt, gloss = (_finer(table, fine) for table in _tables(face, grids, place_mm))
    none = None
    if bare and face.finish is not None:
        dull = replace(face, finish=replace(face.finish, gloss=0.0))
        none = _finer(_tables(dull, grids, place_mm)[1], fine) / np.float32(face.white_reflectance)
    per_slope = [1 / (each[1] - each[0]) for each in fine]
    return SlopeTable(
        steps=(-per_slope[0] / (2 * pixel_um), -per_slope[1] / (2 * pixel_um)),
        starts=(
            (face.slopes[0] - fine[0][0]) * per_slope[0],
            (face.slopes[1] - fine[1][0]) * per_slope[1],
        ),
        matt=matt,
        gloss=gloss / np.float32(face.white_reflectance),
        bare=none,
    )


@lru_cache(maxsize=1)
def read_heights(path: Path, _changed_ns: int, name: str, range_um: float) -> Heights:
    """Read heights once for all lamps; one more on each side, in line with the last two."""
    return Heights.of(read_grey(path, "target.relief", name) * np.float32(range_um))


def read_grey(path: Path, key: str, name: str) -> ImageArray:
    """Read an image of shares from 0 to 1."""
    image = read_image(path, key=key, encoding="linear", written=name).data
    if image.ndim > 2:  # noqa: PLR2004 -- colours
        refuse(f'{key} "{name}": read a colour image; expected a grey one, black low')
    return image


def _refined(grid: FloatArray) -> FloatArray:
    """Lay slopes so finely that the nearest will do, as far as the table stays in reach."""
    count = (len(grid) - 1) * max(_FINER, min(_FINEST, _SIDE // len(grid))) + 1
    return np.linspace(grid[0], grid[-1], count)


def _grid(span: tuple[float, float], rms: float, name: str) -> FloatArray:
    """Lay slopes over a span, finely against the lobe of the facets."""
    low, high = span
    step = rms / _STEPS
    # some more on each side, where a spline errs
    count = ceil((high - low) / step) + 1 + 2 * _MARGIN
    if count > _MOST_FACES:
        refuse(
            f"{name}: its slopes reach from {low:.2g} to {high:.2g}, which is "
            f"over {_MOST_FACES / _STEPS:.0f} times the rms slope of {rms:g}; expected a smaller "
            "relief_range, or a larger rms_slope"
        )
    middle, half = (low + high) / 2, step * (count - 1) / 2
    return np.linspace(middle - half, middle + half, count)


def _tables(face: Face, grids: list[FloatArray], place_mm: float) -> tuple[FloatArray, FloatArray]:
    slopes = np.stack(np.meshgrid(*grids), axis=-1)
    matt, gloss = factors(face, slopes.reshape(-1, 2), place_mm)
    return matt.reshape(slopes.shape[:2]), gloss.reshape(slopes.shape[:2])


def _finer(table: FloatArray, fine: list[FloatArray]) -> ImageArray:
    """Bring a table to finer steps by a cubic spline; light is not negative."""
    places = [
        np.linspace(0, count - 1, len(each))
        for count, each in zip(table.shape, fine[::-1], strict=True)
    ]
    found = scipy.ndimage.map_coordinates(
        table, np.meshgrid(*places, indexing="ij"), order=3, mode="nearest"
    )
    return np.asarray(np.maximum(found, 0), dtype=np.float32)
