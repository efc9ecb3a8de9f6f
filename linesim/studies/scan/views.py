"""Places of a scan, and scan and target seen there on one grid of square pixels."""

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.forward.reference import ArrayReference, Reference
from linesim.forward.station import station
from linesim.forward.transport import first_line_um
from linesim.setup.arrays import ImageArray
from linesim.studies.scan.study import Scan

_BLOCK_VALUES = 1 << 24
"""Values of the source held at a time."""
_LONGEST_PX = 1200
_MOST_VALUES = 1_200_000
"""Of one picture: a coloured one, with three values a pixel, gets fewer pixels."""
_LARGEST_SAMPLE_PX = 8
_DETAIL_SAMPLES = 72
_FEWEST_LINES = 8
_MOST_SEARCHED = 1 << 25
"""Samples that are searched for a detail; of a longer scan, its beginning."""
_FAINTEST_E = 1e-3
_EVEN = 1e-3
"""Share of the light by which a block must vary, so that rounding is not taken for a spot."""
_DETAIL_SHARE = 0.6
"""A detail is worth showing where it is shorter than this share of the scan, each way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """Equal cells in a row, in units of the source's pixels."""

    first_px: float  # where the first cell begins [px]
    step_px: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Which source pixels each cell covers, and how much of each."""

    index: NDArray[np.intp]  # shape (cells, n); source pixels
    weight: NDArray[np.float32]  # shape (cells, n); shares of the cell; each row adds up to 1

    def matrix(self, found: NDArray[np.intp], block: slice) -> "scipy.sparse.csr_array":
        """Give the weights of some cells, as a matrix on the source pixels found."""
        index, weight = self.index[block], self.weight[block]
        cell = np.repeat(np.arange(len(index)), index.shape[1])
        place = np.searchsorted(found, index.ravel())
        return scipy.sparse.csr_array(
            (weight.ravel(), (cell, place)), shape=(len(index), len(found))
        )


def overlap(cells: Cells, pixels: int, *, repeat: bool = False) -> Overlap:
    """Work out what cells cover of a row of pixels."""
    first = cells.first_px + cells.step_px * np.arange(cells.count)
    reach = int(np.ceil(cells.step_px)) + 1
    index = np.floor(first)[:, None] + np.arange(reach)
    covered = np.minimum(index + 1, first[:, None] + cells.step_px) - np.maximum(
        index, first[:, None]
    )
    weight = np.clip(covered, 0, None) / cells.step_px
    whole = index.astype(np.intp)
    return Overlap(
        index=whole % pixels if repeat else np.clip(whole, 0, pixels - 1),
        weight=weight.astype(np.float32),
    )


def _rows(source: Reference, found: NDArray[np.intp]) -> ImageArray:
    """Read some rows, in as few runs as they lie in."""
    runs = np.split(found, np.flatnonzero(np.diff(found) > 1) + 1)
    return np.concatenate([source.rows(int(run[0]), int(run[-1]) + 1) for run in runs])


def area_means(
    source: Reference, down: Cells, across: Cells, *, repeat: bool = False
) -> ImageArray:
    """Give the mean over each cell of a grid; at the ends the reference repeats or goes on."""
    height, width = source.shape[:2]
    rows = overlap(down, height, repeat=repeat)
    columns = overlap(across, width, repeat=repeat)
    seen = np.unique(columns.index)
    sideways = columns.matrix(seen, slice(None))
    step = max(1, int(_BLOCK_VALUES / (width * max(1.0, down.step_px))))
    blocks = []
    for first in range(0, down.count, step):
        block = slice(first, first + step)
        found = np.unique(rows.index[block])
        read = np.take(_rows(source, found), seen, axis=1)
        tall = rows.matrix(found, block) @ read.reshape(len(found), -1)
        planes = np.moveaxis(tall.reshape(len(tall), len(seen), -1), 2, 0)
        blocks.append(np.stack([(sideways @ plane.T).T for plane in planes], axis=-1))
    means = np.concatenate(blocks)
    return np.asarray(means if len(source.shape) > 2 else means[:, :, 0])  # noqa: PLR2004 -- colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A rectangle of the scan."""

    first_line: int
    first_column: int
    lines: int
    columns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A place, and the picture that is made of it."""

    place: Place
    pitch_um: float
    width: int
    height: int


def whole(found: Scan) -> Place:
    """Give the place of a whole scan."""
    lines, columns = found.image.shape[:2]
    return Place(first_line=0, first_column=0, lines=lines, columns=columns)


def detail(found: Scan) -> Place | None:
    """Choose a place to be looked at closely: where a spot stands out most."""
    lines, columns = found.image.shape[:2]
    wide = _DETAIL_SAMPLES
    tall = max(_FEWEST_LINES, round(wide / found.budget.number("geometry", "pixel_aspect")))
    if wide > _DETAIL_SHARE * columns or tall > _DETAIL_SHARE * lines:
        return None
    # of three colours the middle one, green
    light = np.atleast_3d(found.expected_e)[:, :, -2:][:, :, 0]
    searched = light[: max(tall, _MOST_SEARCHED // columns)]
    line, column = _strongest_spot(searched, (tall, wide))
    return Place(
        first_line=min(max(line - tall // 2, 0), lines - tall),
        first_column=min(max(column - wide // 2, 0), columns - wide),
        lines=tall,
        columns=wide,
    )


def _strongest_spot(light: ImageArray, size: tuple[int, int]) -> tuple[int, int]:
    """Find the spot that stands out most from a surrounding of some size."""
    (tall, wide), (lines, columns) = size, light.shape
    down, across = _starts(lines, tall), _starts(columns, wide)
    within = (down[:, None] + np.arange(tall)).ravel(), (across[:, None] + np.arange(wide)).ravel()
    fine, strength = _spots(light[np.ix_(*within)].reshape(len(down), tall, len(across), wide))
    row, column = np.unravel_index(strength.argmax(), strength.shape)
    line_in, column_in = np.unravel_index(np.abs(fine[row, :, column]).argmax(), (tall, wide))
    return int(down[row] + line_in), int(across[column] + column_in)


def _starts(whole_px: int, part_px: int) -> NDArray[np.intp]:
    """Spread parts over a whole, so that they reach both ends."""
    count = -(-whole_px // part_px)
    return np.linspace(0, whole_px - part_px, count).round().astype(np.intp)


def _spots(blocks: ImageArray) -> tuple[ImageArray, ImageArray]:
    """Give what is left of blocks without edges, and how much one spot stands out in each."""
    # whole rows and columns are taken off, for a straight edge is no spot
    fine = blocks - blocks.mean(axis=1, keepdims=True)
    fine -= fine.mean(axis=3, keepdims=True)
    mean = np.maximum(blocks.mean(axis=(1, 3)), _FAINTEST_E)
    contrast = np.abs(fine).max(axis=(1, 3)) / mean
    return fine, contrast**2 / np.maximum(fine.std(axis=(1, 3)) / mean, _EVEN)


def window(found: Scan, place: Place, colours: int, ratio: float = 1.0) -> Window:
    """Choose the size of the picture of a place."""
    across_um = found.budget.number("geometry", "object_pixel_x_um")
    along_um = found.budget.number("geometry", "line_advance_um")
    wide_um, tall_um = place.columns * across_um, place.lines * along_um
    pitch_um = max(
        max(wide_um, tall_um) / _LONGEST_PX,
        float(np.sqrt(wide_um * tall_um * colours / _MOST_VALUES)),
        min(across_um, along_um) / _LARGEST_SAMPLE_PX,
    )
    pitch_um /= ratio
    if across_um >= pitch_um:
        pitch_um = across_um / int(across_um / pitch_um + 1e-9)
    return Window(
        place=place,
        pitch_um=pitch_um,
        width=max(1, round(wide_um / pitch_um)),
        height=max(1, round(tall_um / pitch_um)),
    )


def scan_means(found: Scan, seen: Window) -> ImageArray:
    """Give the scan on the pixels of a picture."""
    place = seen.place
    down = slice(place.first_line, place.first_line + place.lines)
    across = slice(place.first_column, place.first_column + place.columns)
    source = ArrayReference(data=found.image[down, across].astype(np.float32), pixel_size_um=1.0)
    return area_means(
        source,
        Cells(first_px=0.0, step_px=place.lines / seen.height, count=seen.height),
        Cells(first_px=0.0, step_px=place.columns / seen.width, count=seen.width),
    )


def target_means(found: Scan, source: Reference, seen: Window) -> ImageArray:
    """Give the target on the pixels of a picture, where the scan looks."""
    numbers, size_um = station(found.setup), source.pixel_size_um
    across_um = float(numbers.geometry.object_pixel_x_um)
    advance_um = float(numbers.timing.line_advance_um)
    # a line stands for the middle of what it looks at while exposed
    looked_um = float(numbers.geometry.object_pixel_y_um + numbers.motion_um)
    top_um = seen.place.first_line * advance_um + (looked_um - advance_um) / 2
    top_um += first_line_um(found.setup, numbers)
    middle_um = source.shape[1] * size_um / 2
    left_um = middle_um + (seen.place.first_column - found.image.shape[1] / 2) * across_um
    step_px = seen.pitch_um / size_um
    return area_means(
        source,
        Cells(first_px=top_um / size_um, step_px=step_px, count=seen.height),
        Cells(first_px=left_um / size_um, step_px=step_px, count=seen.width),
        repeat=found.setup.target.repeat,
    )
