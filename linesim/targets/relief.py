"""The relief of a target: heights from an image, and a table of what slopes send to the camera."""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from linesim.files.images_in import read_image
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import InputError
from linesim.targets.face import Face, factors

_STEPS = 2.5
"""Of the coarse table in the smaller rms slope; a lobe is smooth on that scale."""
_FINER, _FINEST, _SIDE = 8, 24, 1500
"""Steps of the fine table in one of the coarse; and about how many there are in a row of it."""
_AT_ONCE = 1 << 15
"""Pixels that are worked on together, so that they stay in the processor's cache."""
_MOST_FACES = 300
_MARGIN = 4
_MATT_STEP = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relief:
    """
    Heights of a target, and what slopes send to the camera.

    Parameters
    ----------
    heights : ndarray of float32, shape (rows + 2, columns + 2)
        On the target's own pixels, and one more on each side. [µm]
    steps : tuple of float
        Places in the tables for a difference of heights over two pixels, across and along.
    starts : tuple of float
        Places of a level pixel.
    matt, gloss : ndarray of float32, shape (along, across)
        Radiance factors of white's matt part and of the mirrored light.
    """

    heights: ImageArray
    steps: tuple[float, float]
    starts: tuple[float, float]
    matt: ImageArray
    gloss: ImageArray

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the target."""
        rows, columns = self.heights.shape
        return rows - 2, columns - 2

    def light(self, data: ImageArray, first: int) -> None:
        """Turn reflectances of rows into radiance factors, in place, a few rows at a time."""
        rows, columns = data.shape[:2]
        count = max(1, _AT_ONCE // columns)
        for low in range(0, rows, count):
            part = data[low : low + count]
            places = self._places(first + low, first + low + len(part))
            matt, gloss = (table.ravel().take(places) for table in (self.matt, self.gloss))
            part *= matt if part.ndim == matt.ndim else matt[..., None]
            part += gloss if part.ndim == gloss.ndim else gloss[..., None]

    def _places(self, first: int, last: int) -> NDArray[np.int32]:
        """Find the nearest faces in the tables, by differences over two pixels."""
        part = self.heights[first : last + 2]
        along = part[2:, 1:-1] - part[:-2, 1:-1]
        across = part[1:-1, 2:] - part[1:-1, :-2]
        places = _nearest(along, self.steps[1], self.starts[1])
        places *= self.matt.shape[1]
        places += _nearest(across, self.steps[0], self.starts[0])
        return places


def _nearest(rise: ImageArray, step: float, start: float) -> NDArray[np.int32]:
    rise *= np.float32(step)
    rise += np.float32(start + 0.5)  # what is cut off rounds
    return rise.astype(np.int32)


@lru_cache(maxsize=4)
def read_relief(
    path: Path,
    changed_ns: int,
    name: str,
    sizes_um: tuple[float, float],
    face: Face,
) -> Relief:
    """Read heights and make the tables of a face; sizes are those of range and pixel."""
    range_um, pixel_um = sizes_um
    heights = _heights(path, changed_ns, name, range_um)
    across, along = heights[:, 2:] - heights[:, :-2], heights[2:] - heights[:-2]
    # a face that rises turns its normal back
    spans = [
        (lean - float(rise.max()) / (2 * pixel_um), lean - float(rise.min()) / (2 * pixel_um))
        for lean, rise in zip(face.slopes, (across, along), strict=True)
    ]
    finish = face.finish
    rms = (finish.rms_across, finish.rms_along) if finish else (_MATT_STEP * _STEPS,) * 2
    grids = [_grid(span, each, name) for span, each in zip(spans, rms, strict=True)]
    fine = [_refined(grid) for grid in grids]
    matt, gloss = (_finer(table, fine) for table in _tables(face, *grids))
    per_slope = [1 / (each[1] - each[0]) for each in fine]
    return Relief(
        heights=heights,
        steps=(-per_slope[0] / (2 * pixel_um), -per_slope[1] / (2 * pixel_um)),
        starts=(
            (face.slopes[0] - fine[0][0]) * per_slope[0],
            (face.slopes[1] - fine[1][0]) * per_slope[1],
        ),
        matt=matt,
        gloss=gloss / np.float32(face.white_reflectance),
    )


@lru_cache(maxsize=1)
def _heights(path: Path, _changed_ns: int, name: str, range_um: float) -> ImageArray:
    """Read heights once for all lamps; one more on each side, in line with the last two."""
    image = read_image(path, key="target.relief", encoding="linear", written=name).data
    if image.ndim > 2:  # noqa: PLR2004 -- colours
        msg = f'target.relief "{name}": read a colour image; expected a grey one, black low'
        raise InputError(msg)
    return np.pad(image, 1, mode="reflect", reflect_type="odd") * np.float32(range_um)


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
        msg = (
            f'target.relief "{name}": its slopes reach from {low:.2g} to {high:.2g}, which is '
            f"over {_MOST_FACES / _STEPS:.0f} times the rms slope of {rms:g}; expected a smaller "
            "relief_range, or a larger rms_slope"
        )
        raise InputError(msg)
    middle, half = (low + high) / 2, step * (count - 1) / 2
    return np.linspace(middle - half, middle + half, count)


def _tables(face: Face, across: FloatArray, along: FloatArray) -> tuple[FloatArray, FloatArray]:
    slopes = np.stack(np.meshgrid(across, along), axis=-1)
    matt, gloss = factors(face, slopes.reshape(-1, 2))
    return matt.reshape(slopes.shape[:2]), gloss.reshape(slopes.shape[:2])


def _finer(table: FloatArray, fine: list[FloatArray]) -> ImageArray:
    """Bring a table to finer steps by a cubic spline; light is not negative."""
    places = [
        np.linspace(0, count - 1, len(each))
        for count, each in zip(table.shape, fine[::-1], strict=True)
    ]
    found = map_coordinates(table, np.meshgrid(*places, indexing="ij"), order=3, mode="nearest")
    return np.asarray(np.maximum(found, 0), dtype=np.float32)
