"""Where a slanted edge lies: one straight line, found to a small part of a pixel (ISO 12233)."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse

Direction = Literal["across", "along"]

# Least number of rows crossed by the edge, and of columns to each side of it [px].
MIN_ROWS = 20
MIN_HALF_WIDTH_PX = 8.0
# Widest reach of the centroid to each side: more gathers noise and shading, not edge [px].
MAX_REACH_PX = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeLine:
    """The line ``column = column_px + slope * row``, in pixels, and the rows it is good for."""

    column_px: float
    slope: float
    first_row: int
    last_row: int
    scatter_px: float

    @property
    def rows(self) -> int:
        """Number of rows used."""
        return self.last_row - self.first_row

    def columns(self, rows: FloatArray) -> FloatArray:
        """Give the line's column at some rows."""
        return self.column_px + self.slope * rows


def find_direction(image: FloatArray, pixel_pitch: tuple[float, float]) -> Direction:
    """
    Tell along which axis, in physical units, values change most; noise weighs on both alike.

    Parameters
    ----------
    image : ndarray of shape (lines, width); linear values
    """
    smooth = scipy.ndimage.uniform_filter(image, 5, mode="nearest")
    gain = [float(np.mean(np.diff(smooth, axis=axis) ** 2)) for axis in (0, 1)]
    # Gradients in physical units: a step over a longer pitch is less steep.
    along, across = (g / p**2 for g, p in zip(gain, pixel_pitch, strict=True))
    return "across" if across >= along else "along"


def locate_edge(image: FloatArray) -> EdgeLine:
    """
    Fit a line to an edge that crosses the rows of an image.

    Each row's step is found first by the difference of two box means, then twice by the centroid
    of the windowed derivative (ISO 12233:2014, 6.2.4: centroids, line fit). Rows in which the edge
    comes nearer to a side than half its best distance are left out: they would narrow the region.
    """
    width = image.shape[1]
    strong, columns, polarity = _coarse_columns(image)
    line = _fit(strong, columns, image.shape[0])
    if line.scatter_px > max(3.0, 0.1 * width):
        refuse("edge: no straight edge found; expected one dark and one bright area")
    reach = MAX_REACH_PX
    for _ in range(2):
        line = _trim(line, image.shape)
        free = int(_sides(line, np.array([line.first_row, line.last_row - 1.0]), width).min()) - 1
        line = _fit(*_centroids(image * polarity, line, min(reach, free)), image.shape[0])
        reach //= 2
    return _trim(line, image.shape)


def _sides(line: EdgeLine, rows: FloatArray, width: int) -> FloatArray:
    """Columns between the line and the nearer side. [px]."""
    columns = line.columns(rows)
    return np.minimum(columns, width - 1 - columns)


def _trim(line: EdgeLine, shape: tuple[int, ...]) -> EdgeLine:
    """Keep the rows whose distance to the sides is at least half the best one."""
    sides = _sides(line, np.arange(float(shape[0])), shape[1])
    if sides.max() < MIN_HALF_WIDTH_PX:
        refuse(
            f"edge: the edge lies {max(float(sides.max()), 0.0):.1f} px from the image's side; "
            f"expected at least {MIN_HALF_WIDTH_PX:g} px on both sides of it"
        )
    used = np.flatnonzero(sides >= max(0.5 * sides.max(), MIN_HALF_WIDTH_PX))
    if used.size < MIN_ROWS:
        refuse(f"edge: the edge is {used.size} px long; expected at least {MIN_ROWS} px")
    return EdgeLine(
        column_px=line.column_px,
        slope=line.slope,
        first_row=int(used[0]),
        last_row=int(used[-1]) + 1,
        scatter_px=line.scatter_px,
    )


def _coarse_columns(image: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Rows that hold a step, its place in each (difference of two box means), and its sign."""
    box = min(7, image.shape[1] // 8 * 2 + 1)
    mean = scipy.ndimage.uniform_filter(image, (5, box), mode="nearest")
    step = mean[:, box:] - mean[:, :-box]
    peak = np.take_along_axis(step, np.abs(step).argmax(axis=1)[:, None], axis=1)
    polarity = 1.0 if np.median(peak) > 0 else -1.0
    step *= polarity
    height = step.max(axis=1)
    if not height.max() > 0:
        refuse("edge: no edge found; all values are alike")
    strong = np.flatnonzero(height >= 0.5 * np.quantile(height, 0.9))
    return strong.astype(float), step.argmax(axis=1)[strong] + 0.5 * box, polarity


def _centroids(image: FloatArray, line: EdgeLine, reach: int) -> tuple[FloatArray, FloatArray]:
    """Rows, and the centroid of the derivative in each, seen through a window on the line."""
    rows = np.arange(line.first_row, line.last_row)
    centre = line.columns(rows.astype(float))
    near = np.rint(centre).astype(np.int64)
    columns = near[:, None] + np.arange(-reach - 1, reach + 2)
    values = image[rows[:, None], np.clip(columns, 0, image.shape[1] - 1)]
    slope = 0.5 * (values[:, 2:] - values[:, :-2])
    offset = columns[:, 1:-1] - centre[:, None]
    # A window with a flat middle leaves the core's centroid as it is, whatever the edge's phase.
    weight = tukey(offset / (reach + 0.5), taper=0.5) * slope
    total = weight.sum(axis=1)
    sound = total > 0.25 * np.median(total)
    if np.count_nonzero(sound) < MIN_ROWS:
        refuse("edge: no edge found; the step is lost in the noise")
    shift = (weight * offset).sum(axis=1)[sound] / total[sound]
    return rows[sound].astype(float), centre[sound] + shift


def tukey(position: FloatArray, *, taper: float) -> FloatArray:
    """Tapered cosine window."""
    fall = np.clip((np.abs(position) - (1.0 - taper)) / taper, 0.0, 1.0)
    return np.asarray(0.5 * (1.0 + np.cos(np.pi * fall)))


def _fit(rows: FloatArray, columns: FloatArray, last_row: int) -> EdgeLine:
    """Robust line: medians of far pairs first, then least squares on what lies near."""
    half = rows.size // 2
    if half < MIN_ROWS // 2:
        refuse(f"edge: the edge is {rows.size} px long; expected at least {MIN_ROWS} px")
    pairs = (columns[half : 2 * half] - columns[:half]) / (rows[half : 2 * half] - rows[:half])
    slope = float(np.median(pairs))
    column = float(np.median(columns - slope * rows))
    near = _near(columns - slope * rows - column)
    mean = rows[near].mean()
    slope, middle = np.polyfit(rows[near] - mean, columns[near], 1)
    rest = columns - middle - slope * (rows - mean)
    return EdgeLine(
        column_px=float(middle - slope * mean),
        slope=float(slope),
        first_row=0,
        last_row=last_row,
        scatter_px=1.4826 * float(np.median(np.abs(rest))),
    )


def _near(rest: FloatArray) -> NDArray[np.bool_]:
    """Rows within 3.5 robust standard deviations, never tighter than 1 px."""
    return np.abs(rest) <= max(1.0, 3.5 * 1.4826 * float(np.median(np.abs(rest))))
