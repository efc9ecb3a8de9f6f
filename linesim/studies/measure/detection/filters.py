"""Filters that search an image for a defect: prewhitened, one place or a bank of places."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter

from linesim.forward.station import Station
from linesim.metrics.detection.ground import Ground
from linesim.metrics.detection.texture import sampled_power
from linesim.setup.arrays import FloatArray

_SHIFTS = (-1, 0, 1)
"""Samples around a place in which its peak is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Filter:
    """Some filters over cells of one size."""

    # shape (filters, lines, columns); of the samples, as differences from good product [1/e]
    weights: FloatArray
    dprime: FloatArray  # shape (filters,); of the defect that each was made for


def filters(numbers: Station, base: Ground, template_e: FloatArray) -> Filter:
    """Make the best linear filter for each template."""
    noise_e2, streaks_e2 = float(np.square(base.noise_e)), float(np.square(base.streaks_e))
    lines, columns = template_e.shape[1:]
    power = np.ones((lines, columns // 2 + 1))
    if base.texture is not None:
        step_um = float(numbers.timing.line_advance_um)
        along = np.asarray(1000 * np.fft.fftfreq(lines, step_um), np.float64)[:, None]
        across_um = float(numbers.geometry.object_pixel_x_um)
        across = np.asarray(1000 * np.fft.rfftfreq(columns, across_um), np.float64)[None, :]
        seen = float(np.square(base.slope * np.asarray(base.level_e))) / noise_e2
        power = power + seen * sampled_power(numbers, base.texture, across, along)
    weights = np.fft.irfft2(np.fft.rfft2(template_e) / power, s=(lines, columns))
    of_samples = noise_e2 * np.einsum("kij,kij->k", weights, template_e)
    of_columns = streaks_e2 * np.square(weights.sum(axis=1)).sum(axis=1)
    of_lines = float(np.square(base.lines_e)) * np.square(weights.sum(axis=2)).sum(axis=1)
    spread = np.sqrt(of_samples + of_columns + of_lines)
    return Filter(
        weights=weights / spread[:, None, None],
        dprime=np.einsum("kij,kij->k", weights, template_e) / spread,
    )


def outputs(made: Filter, left_e: FloatArray) -> FloatArray:
    """Give the output of each cell's own filter."""
    return np.asarray(np.einsum("kij,kij->k", made.weights, left_e))


def best_outputs(made: Filter, left_e: FloatArray) -> FloatArray:
    """Give the largest output of a bank in each cell, within a sample of its middle."""
    shifted = [np.roll(made.weights, (y, x), axis=(1, 2)) for y in _SHIFTS for x in _SHIFTS]
    table = np.concatenate(shifted).reshape(-1, left_e[0].size)
    return np.asarray((left_e.reshape(len(left_e), -1) @ table.T).max(axis=1))


def peaks_over(made: Filter, left_e: FloatArray, level: float) -> int:
    """Count the peaks of a bank over a level in an image of good product."""
    from scipy.signal import oaconvolve  # noqa: PLC0415 -- slow, and seldom needed by vary

    maps = (oaconvolve(left_e, one[::-1, ::-1], mode="valid") for one in made.weights)
    best = np.full(1, -np.inf)
    for each in maps:
        best = np.maximum(best, each)
    return int(np.count_nonzero((best > level) & (best == maximum_filter(best, 3))))
