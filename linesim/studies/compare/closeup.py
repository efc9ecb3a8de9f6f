"""
Which place on the target to magnify, and which samples of each scan lie there.

A spot is found by the Hessian of the noise-free signal, smoothed to the size of a defect: both its
eigenvalues have one sign and are large there. On an edge or a line, wavy or not, the smaller of
the two is small.

References
----------
T. Lindeberg, "Feature detection with automatic scale selection", International Journal of Computer
Vision 30 (1998): a disc of radius r answers most at a Gaussian of r/sqrt(2) (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from linesim.studies.scan.study import Scan
from linesim.studies.scan.views import Place

_OWN_SIZE_PX = 4
"""Size searched for where no smallest defect is asked for, in the finest samples; our choice."""
_FLAT = 1e-4
"""Curvature below this share of the mean signal is no spot but rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A rectangle on the target."""

    left_um: float
    top_um: float
    width_um: float
    length_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Raster:
    """Samples on the target: their steps and where their centres begin. [µm]."""

    across_um: float
    along_um: float
    left_um: float
    top_um: float
    lines: int
    width: int


def _raster(scan: Scan) -> _Raster:
    place = scan.budget["geometry"]
    across_um, along_um = float(place["object_pixel_x_um"]), float(place["line_advance_um"])
    # a line sees its own height, and what passes while it is exposed
    seen_um = float(place["object_pixel_y_um"]) + float(scan.budget["exposure"]["motion_blur_um"])
    lines, width = scan.image.shape[:2]
    return _Raster(
        across_um=across_um,
        along_um=along_um,
        left_um=-width * across_um / 2,
        top_um=(seen_um - along_um) / 2,
        lines=lines,
        width=width,
    )


def finest(scans: Sequence[Scan]) -> Scan:
    """Choose the scan with the smallest samples."""
    return min(scans, key=sample_um2)


def sample_um2(scan: Scan) -> float:
    """Give the area of a sample on the target. [µm²]."""
    raster = _raster(scan)
    return raster.across_um * raster.along_um


def defect_size_um(scan: Scan) -> float:
    """Tell what size of thing matters."""
    raster = _raster(scan)
    own_um = _OWN_SIZE_PX * max(raster.across_um, raster.along_um)
    return scan.setup.smallest_defect_um or own_um


def strongest_spot(scan: Scan, size_um: float) -> tuple[float, float]:
    """Find the strongest spot of a size in the noise-free signal."""
    raster = _raster(scan)
    signal = scan.expected_e.reshape(raster.lines, raster.width, -1).sum(axis=2)
    sigma_um = size_um / np.sqrt(8)
    sigma = (sigma_um / raster.along_um, sigma_um / raster.across_um)

    def curved(*order: int) -> np.ndarray:
        return np.asarray(gaussian_filter(signal, sigma, order=order, mode="nearest"))

    # derivatives per um, so that samples of unequal sides do not matter
    down = curved(2, 0) / raster.along_um**2
    across = curved(0, 2) / raster.across_um**2
    mixed = curved(1, 1) / (raster.along_um * raster.across_um)
    mean, spread = (down + across) / 2, np.hypot((down - across) / 2, mixed)
    smaller = (np.abs(mean) - spread) * sigma_um**2
    line, column = divmod(int(smaller.argmax()), raster.width)
    if smaller[line, column] <= _FLAT * float(signal.mean()):
        line, column = raster.lines // 2, raster.width // 2
    return (
        raster.left_um + (column + 0.5) * raster.across_um,
        raster.top_um + (line + 0.5) * raster.along_um,
    )


def window(
    scans: Sequence[Scan], centre_um: tuple[float, float], sides_um: tuple[float, float]
) -> Window:
    """Lay a window around a place so that it fits all scans."""
    rasters = [_raster(scan) for scan in scans]
    left_um, width_um = _side(
        centre_um[0],
        sides_um[0],
        max(raster.across_um for raster in rasters),
        [(raster.left_um, raster.width * raster.across_um) for raster in rasters],
    )
    top_um, length_um = _side(
        centre_um[1],
        sides_um[1],
        max(raster.along_um for raster in rasters),
        [(raster.top_um, raster.lines * raster.along_um) for raster in rasters],
    )
    return Window(left_um=left_um, top_um=top_um, width_um=width_um, length_um=length_um)


def _side(
    centre_um: float, wanted_um: float, step_um: float, spans: Sequence[tuple[float, float]]
) -> tuple[float, float]:
    """Give start and length of one side: whole steps, inside of all spans."""
    first_um = max(start for start, _ in spans)
    last_um = min(start + length for start, length in spans)
    fits = max(1, int((last_um - first_um) / step_um + 1e-6))
    steps = min(fits, max(2, 2 * round(wanted_um / step_um / 2)))
    start = round((centre_um - first_um) / step_um - steps / 2)
    return first_um + step_um * min(max(start, 0), fits - steps), steps * step_um


def samples_in(scan: Scan, part: Window) -> Place:
    """Tell which samples of a scan lie in a window."""
    raster = _raster(scan)
    lines = min(raster.lines, max(1, round(part.length_um / raster.along_um)))
    columns = min(raster.width, max(1, round(part.width_um / raster.across_um)))
    first_line = round((part.top_um - raster.top_um) / raster.along_um)
    first_column = round((part.left_um - raster.left_um) / raster.across_um)
    return Place(
        first_line=min(max(first_line, 0), raster.lines - lines),
        first_column=min(max(first_column, 0), raster.width - columns),
        lines=lines,
        columns=columns,
    )
