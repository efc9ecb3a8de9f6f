"""A group of bars in an image: where it lies, the ground about it, and its profile."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray

# Ground is what lies at least this far from anything drawn [px].
_CLEAR_PX = 4
_LEAST_GROUND = 200
_LEAST_COLUMN = 10
# Of the bars' length, the part in the middle that is averaged.
_FIRST, _LAST = 0.2, 0.8

Box = tuple[float, float, float, float]
"""Left, top, right, bottom; pixel 0 reaches from 0 to 1. [px]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class BarPlace:
    """The square that three bars fill, in pixels of the image."""

    alternates: Literal["across", "along"]  # direction in which light and dark alternate
    box: Box  # left, top, right, bottom [px]

    @property
    def bar_px(self) -> float:
        """Width of a bar. [px]."""
        return (self._ends[1] - self._ends[0]) / 5

    @property
    def centre_px(self) -> float:
        """Middle of the middle bar. [px]."""
        return (self._ends[0] + self._ends[1]) / 2

    @property
    def _ends(self) -> tuple[float, float]:
        left, top, right, bottom = self.box
        return (left, right) if self.alternates == "across" else (top, bottom)

    @property
    def _sides(self) -> tuple[float, float]:
        left, top, right, bottom = self.box
        return (top, bottom) if self.alternates == "across" else (left, right)

    def within(self, shape: tuple[int, ...]) -> bool:
        """Tell whether the group and a bar's width of ground about it lie in an image."""
        long, short = (shape[1], shape[0]) if self.alternates == "across" else shape[:2]
        (first, last), (near, far) = self._ends, self._sides
        width = self.bar_px
        return first >= width and last <= long - width and near >= 0 and far <= short

    def profile(self, missing: FloatArray) -> tuple[FloatArray, float]:
        """Average ground less image along the bars, over their middle part, for all the image."""
        view = missing if self.alternates == "across" else missing.T
        near, far = self._sides
        first, last = near + _FIRST * (far - near), near + _LAST * (far - near)
        rows = np.arange(view.shape[0])
        share = np.clip(np.minimum(rows + 1, last) - np.maximum(rows, first), 0.0, 1.0)
        used = np.flatnonzero(share)
        weights = share[used] / share[used].sum()
        return weights @ view[used], 1.0 / float(weights @ weights)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """The light between the things drawn."""

    level: FloatArray  # shape (lines, width); bent across, sloping along, in the image's unit
    noise: float  # standard deviation of a pixel about it, from line to line
    pattern: float  # standard deviation of the columns about it, noise taken off

    def doubt(self, alternates: str, averaged: float) -> tuple[float, float]:
        """Tell the noise of each value of a profile by itself, and the error that all share."""
        noise, pattern = self.noise / float(np.sqrt(averaged)), self.pattern
        if alternates == "across":
            return float(np.hypot(noise, pattern)), 0.0
        return noise, pattern / float(np.sqrt(averaged))


def ground_of(image: NDArray[np.generic], boxes: list[Box]) -> Ground | None:
    """
    Fit the ground of an image of drawn boxes; none where hardly any is seen.

    Parameters
    ----------
    image : ndarray of shape (lines, width)
    boxes : list of tuple of float; all that is drawn on the ground [px]
    """
    lines, width = image.shape
    clear = np.ones(image.shape, dtype=bool)
    for left, top, right, bottom in boxes:
        rows = slice(max(0, int(top) - _CLEAR_PX), max(0, int(bottom) + 1 + _CLEAR_PX))
        clear[rows, max(0, int(left) - _CLEAR_PX) : max(0, int(right) + 1 + _CLEAR_PX)] = False
    y, x = np.nonzero(clear)
    if y.size < _LEAST_GROUND:
        return None
    u, v = 2 * x / width - 1, 2 * y / lines - 1
    values = image[clear].astype(np.float64)
    basis = np.stack([np.ones(u.size), u, u * u, v], axis=1)
    part = np.linalg.lstsq(basis, values, rcond=None)[0]
    over = 2 * np.arange(width) / width - 1
    down = 2 * np.arange(lines) / lines - 1
    level = (part[0] + part[1] * over + part[2] * over**2) + part[3] * down[:, None]
    pairs = clear[1:] & clear[:-1]
    change = np.diff(image.astype(np.float64), axis=0)[pairs]
    noise = float(np.sqrt(0.5 * np.mean(change**2))) if change.size else 0.0
    return Ground(level=level, noise=noise, pattern=_pattern(image - level, clear, noise))


def _pattern(rest: FloatArray, clear: NDArray[np.bool_], noise: float) -> float:
    """Spread of the columns' means, less what noise adds to it."""
    count = clear.sum(axis=0)
    seen = count >= _LEAST_COLUMN
    if not seen.any():
        return 0.0
    mean = np.where(clear, rest, 0.0).sum(axis=0)[seen] / count[seen]
    return float(np.sqrt(max(np.mean(mean**2) - np.mean(noise**2 / count[seen]), 0.0)))
