"""
The fall-off of the light over a photograph: off a blank, or estimated from the photograph itself.

Either gives a smooth field of decoded values, which the tone curve makes light of.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RectBivariateSpline
from scipy.ndimage import gaussian_filter
from scipy.optimize import least_squares
from scipy.stats import trim_mean

from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse

_BLANK_BLOCKS, _OWN_BLOCKS = 64, 32
"""Along the longer side; the tenth at either end of a block keeps out, with it dust and print."""
_TRIMMED = 0.1
_LEAST_BLOCK_PX = 6
_FEWEST_BLOCKS = 48
_DEGREES = (0, 2, 4)
_PARTS = (-0.5, 0.0, 0.5)
"""Borders of the parts that are held out, from -1 to 1 across and down."""
_DARKEST = 1e-4
_ROBUST = 1.5
"""Of the median distance: what lies further off counts less and less (soft L1)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """A smooth field over the photograph."""

    # shape (n,); places of its grid [px]
    rows_px: FloatArray
    columns_px: FloatArray
    grid: FloatArray  # shape (n, m, channels); values there

    def at(self, first: int, last: int, width_px: int) -> FloatArray:
        """Give rows of it, shape (last - first, width_px, channels)."""
        rows, columns = np.arange(first, last) + 0.5, np.arange(width_px) + 0.5
        degrees = (min(3, len(self.rows_px) - 1), min(3, len(self.columns_px) - 1))
        channels = [
            RectBivariateSpline(
                self.rows_px, self.columns_px, self.grid[..., index], kx=degrees[0], ky=degrees[1]
            )(rows, columns)
            for index in range(self.grid.shape[2])
        ]
        return np.stack(channels, axis=-1)

    @property
    def level(self) -> FloatArray:
        """Median of each channel: where the light counts as whole."""
        return np.asarray(np.median(self.grid, axis=(0, 1)))

    @property
    def span(self) -> tuple[float, float]:
        """Least and most over the median, in the channel where they lie furthest apart."""
        share = self.grid / self.level
        return float(share.min()), float(share.max())


def _blocks(image: ImageArray, blocks: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give places and trimmed means of blocks, shape (n, m, channels)."""
    side_px = max(_LEAST_BLOCK_PX, -(-max(image.shape[:2]) // blocks))
    sides = [min(side_px, side) for side in image.shape[:2]]
    counts = [side // own for side, own in zip(image.shape[:2], sides, strict=True)]
    # what fills no whole block is left at both rims
    firsts = [
        (side - n * own) // 2 for side, n, own in zip(image.shape[:2], counts, sides, strict=True)
    ]
    rows, columns = (
        first + own * (np.arange(n) + 0.5)
        for first, own, n in zip(firsts, sides, counts, strict=True)
    )
    means = []
    for row in range(counts[0]):
        top = firsts[0] + row * sides[0]
        band = image[top : top + sides[0], firsts[1] : firsts[1] + counts[1] * sides[1]]
        parts = band.reshape(sides[0], counts[1], sides[1], -1).swapaxes(0, 1)
        means.append(trim_mean(parts.reshape(counts[1], -1, image.shape[2]), _TRIMMED, axis=1))
    return rows, columns, np.asarray(means, dtype=np.float64)


def _to_the_rim(
    places: FloatArray, grid: FloatArray, side_px: int
) -> tuple[FloatArray, FloatArray]:
    """Carry a grid on to both rims along its first axis, by the slope of its last two blocks."""
    if len(places) < 2:  # noqa: PLR2004 -- a slope takes two
        return np.array([0.0, float(side_px)]), np.repeat(grid, 2, axis=0)
    pitch = places[1] - places[0]
    first = grid[0] + (grid[0] - grid[1]) * places[0] / pitch
    last = grid[-1] + (grid[-1] - grid[-2]) * (side_px - places[-1]) / pitch
    wider = np.concatenate([[0.0], places, [float(side_px)]])
    return wider, np.concatenate([first[np.newaxis], grid, last[np.newaxis]])


def of_blank(blank: ImageArray) -> Field:
    """Smooth a decoded blank: trimmed means of 1/64 of its longer side, a Gaussian of one block."""
    rows, columns, grid = _blocks(blank, _BLANK_BLOCKS)
    log = gaussian_filter(np.log(np.maximum(grid, _DARKEST)), (1, 1, 0), mode="nearest")
    rows, log = _to_the_rim(rows, log, blank.shape[0])
    columns, turned = _to_the_rim(columns, log.swapaxes(0, 1), blank.shape[1])
    return Field(rows_px=rows, columns_px=columns, grid=np.exp(turned.swapaxes(0, 1)))


def of_itself(image: ImageArray, left_out: Sequence[Region]) -> Field:
    """
    Estimate the fall-off from the photograph itself: a polynomial in the logarithm of its blocks.

    Of degree 0, 2 or 4 (our choice), whichever foretells sixteenths of the picture best from the
    rest: a coarse pattern tells little of the light, and bends it the less. Degree 4 follows a fall
    to one half within 1 %, and with it what the product does over half the picture and more. The
    same for all channels, so that colours stay. Blocks that touch a patch do not count, and
    those of a pattern count little: soft L1 at 1.5 median distances (our choice).
    """
    rows, columns, grid = _blocks(image.mean(axis=2, keepdims=True), _OWN_BLOCKS)
    across, down = np.meshgrid(2 * columns / image.shape[1] - 1, 2 * rows / image.shape[0] - 1)
    seen = np.log(np.maximum(grid[..., 0], _DARKEST))
    used = ~_touched(rows, columns, left_out, image.shape) & (grid[..., 0] > _DARKEST)
    if np.sum(used) < _FEWEST_BLOCKS:
        refuse(
            f"--flatten: {np.sum(used)} parts of the photograph show the product in light, beside "
            f"patches and black; expected at least {_FEWEST_BLOCKS}, of {_LEAST_BLOCK_PX} pixels "
            "or more each way: a larger photograph, or --blank"
        )
    degree = _held_out_best(across, down, np.where(used, seen, np.nan))
    weights = _robust(_terms(across, down, degree)[used], seen[used])
    share = np.linspace(-1, 1, _OWN_BLOCKS + 1)
    field = np.exp(_terms(*np.meshgrid(share, share), degree) @ weights)[..., np.newaxis]
    return Field(
        rows_px=(share + 1) / 2 * image.shape[0],
        columns_px=(share + 1) / 2 * image.shape[1],
        grid=np.repeat(field, image.shape[2], axis=2),
    )


def _terms(across: FloatArray, down: FloatArray, degree: int) -> FloatArray:
    powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    return np.stack([across**i * down**j for i, j in powers], axis=-1)


def _held_out_best(across: FloatArray, down: FloatArray, seen: FloatArray) -> int:
    """Choose the degree that foretells parts of the picture best from all the others."""
    parts = np.stack([np.digitize(each, _PARTS) for each in (across, down)], axis=-1)
    errors = {}
    for degree in _DEGREES:
        terms, off = _terms(across, down, degree), []
        for part in np.unique(parts.reshape(-1, 2), axis=0):
            held = (parts == part).all(axis=-1) & np.isfinite(seen)
            others = ~(parts == part).all(axis=-1) & np.isfinite(seen)
            if np.sum(others) >= terms.shape[-1]:
                off.append(np.abs(terms[held] @ _robust(terms[others], seen[others]) - seen[held]))
        errors[degree] = float(np.mean(np.concatenate(off))) if off else np.inf
    return min(errors, key=lambda degree: errors[degree])


def _touched(
    rows: FloatArray, columns: FloatArray, regions: Sequence[Region], shape: tuple[int, ...]
) -> np.ndarray:
    """Mark the blocks that a region reaches into."""
    high, wide = shape[0] / len(rows) / 2 + 1, shape[1] / len(columns) / 2 + 1
    touched = np.zeros((len(rows), len(columns)), dtype=bool)
    for each in regions:
        near = [
            (places > start - half) & (places < start + length + half)
            for places, start, length, half in (
                (rows, each.y, each.height, high),
                (columns, each.x, each.width, wide),
            )
        ]
        touched |= near[0][:, np.newaxis] & near[1]
    return touched


def _robust(terms: FloatArray, seen: FloatArray) -> FloatArray:
    """Fit weights of terms; what lies far off counts little."""
    start = np.linalg.lstsq(terms, seen, rcond=None)[0]
    distance = float(np.median(np.abs(terms @ start - seen)))

    def off(weights: FloatArray) -> FloatArray:
        return np.asarray(terms @ weights - seen)

    found = least_squares(off, start, loss="soft_l1", f_scale=max(_ROBUST * distance, 1e-6))
    return np.asarray(found.x, dtype=np.float64)
