"""What several checks from outside need."""

from collections.abc import Callable

import numpy as np
import pytest

from linesim.setup.arrays import FloatArray

PlainSfr = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


@pytest.fixture(scope="session")
def iso_sfr() -> PlainSfr:
    """
    Give the edge response of ISO 12233:2014, 6.2.4 and 6.2.5 (read in an excerpt), step by step.

    Centroids of the derivative of each line under a Hamming window, a straight line through them,
    samples projected along it into four bins a pixel, derivative [−½ 0 ½], Hamming window, discrete
    Fourier transform, division by the response of that derivative; frequencies along the normal.
    Written for these tests, for edges near the vertical; it leaves the bins' own blur in.
    """
    return _iso_sfr


def _slope(image: FloatArray) -> float:
    """Slope of the edge, in columns a line."""
    lines, width = image.shape
    x, y = np.arange(width), np.arange(lines)
    rise = np.zeros_like(image, dtype=float)
    rise[:, 1:-1] = (image[:, 2:] - image[:, :-2]) / 2
    centre, slope = np.full(lines, (width - 1) / 2), 0.0
    for _ in range(2):  # the second time with the window on the edge
        away = x - centre[:, None]
        window = np.where(
            np.abs(away) < width / 2, 0.54 + 0.46 * np.cos(2 * np.pi * away / width), 0.08
        )
        found = (rise * window * x).sum(axis=1) / (rise * window).sum(axis=1)
        slope, first = np.polyfit(y, found, 1)
        centre = first + slope * y
    return float(slope)


def _iso_sfr(image: FloatArray) -> tuple[FloatArray, FloatArray]:
    x, y = np.arange(image.shape[1]), np.arange(image.shape[0])
    slope = _slope(image)
    bins = np.floor(4 * (x - slope * (y[:, None] - y.size / 2))).astype(int)
    bins -= bins.min()
    count = np.bincount(bins.ravel())
    full = count > 0.9 * count.max()
    spread = np.bincount(bins.ravel(), image.ravel())[full] / count[full]
    line = np.zeros_like(spread)
    line[1:-1] = (spread[2:] - spread[:-2]) / 2
    peak = int(np.argmax(np.abs(line)))
    half = min(peak, line.size - 1 - peak)
    line = line[peak - half : peak + half + 1] * np.hamming(2 * half + 1)
    mtf = np.abs(np.fft.rfft(line)) / abs(line.sum())
    cycles_bin = np.fft.rfftfreq(line.size)
    use = cycles_bin < 0.25  # twice Nyquist of the pixels
    frequency = 4 * cycles_bin[use] / np.cos(np.arctan(slope))
    return frequency, mtf[use] / np.sinc(2 * cycles_bin[use])
