"""
The product under a scan: its local level as reflectance, without the scan's noise.

Samples as electrons, over those of white, averaged by a bell of 3 samples each way: of white noise
1/(2√π 3) = 9 % is left in the level. Between samples the level runs straight; they are placed where
lines at the station's own advance have them, which ripple, skew and the like put off by less than
the bell is wide. What is finer than the bell, such as the edge of a print, stays in the scan and is
not in the level.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from linesim.dataset.background.charge import by_channel, charges
from linesim.forward.reference import ArrayReference
from linesim.forward.station import station
from linesim.forward.transport import first_line_um
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

BELL_PX = 3.0
"""Standard deviation of what a level is averaged over; our choice. [px]."""


def product_under(
    setup: Setup, scan_dn: NDArray[np.uint16], pixel_size_um: float, margin_px: int
) -> ArrayReference:
    """
    Make a target that looks as a scan's product does, but for noise and fine detail.

    Around what was scanned ``margin_px`` of its pixels are added left, right and at the end.
    """
    samples = by_channel(scan_dn.astype(np.float64))
    # the lamp's fall-off is taken out first, for a bell would lay it flat at the ends
    shares = [
        np.maximum(gaussian_filter(each.signal_e(samples[:, :, k]) / each.white_e, BELL_PX), 0.0)
        for k, each in enumerate(charges(setup))
    ]
    places = _places(setup, samples.shape[:2], pixel_size_um, margin_px)
    laid = [straight_between(share, *places) for share in shares]
    data = np.stack(laid, axis=2) if len(laid) > 1 else laid[0]
    return ArrayReference(data=data.astype(np.float32), pixel_size_um=pixel_size_um)


def straight_between(data: FloatArray, lines: FloatArray, columns: FloatArray) -> FloatArray:
    """
    Read an array at a grid of places, straight between samples; beyond the ends they go on.

    Parameters
    ----------
    data : ndarray of shape (height, width)
    lines, columns : ndarray of shape (rows,) and (columns,); places, 0 the middle of a first sample

    Returns
    -------
    ndarray of shape (rows, columns)
    """
    for axis, places in ((1, columns), (0, lines)):  # the few lines of a scan first
        last = data.shape[axis] - 1
        inside = np.clip(places, 0, last)
        low = inside.astype(np.intp)
        share = np.expand_dims(inside - low, 1 - axis)
        high = np.minimum(low + 1, last)
        data = data.take(low, axis) * (1 - share) + data.take(high, axis) * share
    return data


def _places(
    setup: Setup, shape: tuple[int, int], pixel_size_um: float, margin_px: int
) -> tuple[FloatArray, FloatArray]:
    """Give the lines of the scan that rows of the target lie at, and the columns alike."""
    numbers, (lines, width) = station(setup), shape
    across_um = float(numbers.geometry.object_pixel_x_um)
    along_um, first_um = float(numbers.timing.line_advance_um), first_line_um(setup, numbers)
    columns = int(np.ceil(round(width * across_um / pixel_size_um, 6)))
    rows = int(np.ceil(round((lines * along_um + first_um) / pixel_size_um, 6)))
    x_um = (
        np.arange(-margin_px, columns + margin_px, dtype=np.float64) + 0.5 - columns / 2
    ) * pixel_size_um
    y_um = (np.arange(rows + margin_px, dtype=np.float64) + 0.5) * pixel_size_um
    return (y_um - first_um) / along_um - 0.5, x_um / across_um + width / 2 - 0.5
