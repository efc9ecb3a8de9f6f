"""
Detection: how surely a defect of known size and contrast stands out of the noise.

The detector is the matched filter: samples weighted with the defect's own blurred shape s, summed,
and compared with a threshold. Its detectability is the shift that a defect gives over the spread
that noise gives,

    d' = Σs² / √(σ² Σs² + σ_c² Σ_columns(Σ_lines s)²),

σ the temporal noise of a sample on white and σ_c the streaks of the columns, which an uncorrected
image keeps along travel. With no streaks this is d'² = Σs²/σ². The filter takes the noise for
white: one that knew of the streaks would take each column's mean off first and lose little to them.

Over all places of the defect on the pixel grid, the mean of Σs² is an integral over frequencies,
∫∫|S|² df / (pixel x advance), exactly (Parseval; the aliases cancel in the mean). d' here is taken
from such means; for defects under a pixel it differs from place to place, and the mean detection
rate with it. In (Σ_lines s)² the aliases cancel only where lines leave no gaps.

Limits: the defect changes white by a share of it, and the noise is that of white with and without
it: right up to a contrast of about 0.1; a dark defect of more contrast is noisier by less.

References
----------
Matched filter, d' and the area under the curve, Φ(d'/√2): signal detection theory, textbooks on
imaging science; equal variances as in Hanley and McNeil 1982. Rose's criterion: a signal to noise
ratio of 5 for certain detection (A. Rose, 1948; from memory).
"""

from collections.abc import Callable

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.defect_energy import energies_of
from linesim.metrics.defect_shapes import Shape
from linesim.setup.arrays import FloatArray

ROSE = 5.0
"""Detectability that Rose asked for."""
_UM2_M2 = 1e12


def dprime(numbers: Station, shape: Shape, contrast: Figure) -> FloatArray:
    """
    Work out how a defect on white stands out by the matched filter.

    Parameters
    ----------
    numbers : Station
        The station.
    shape : Shape
        Of the defect.
    contrast : float or ndarray
        Share of white by which it is darker or brighter.

    Returns
    -------
    ndarray
        The index d', from means over all places of the defect on the pixel grid.
    """
    return dprime_of(numbers)(shape, contrast)


def dprime_of(numbers: Station) -> Callable[[Shape, Figure], FloatArray]:
    """
    Prepare a station for many shapes.

    Parameters
    ----------
    numbers : Station
        The station.

    Returns
    -------
    callable
        As `dprime`, given shape and contrast.
    """
    white_e, energies = numbers.electrons_white, energies_of(numbers)
    noise_e2, streaks_e2 = numbers.noise_e(white_e) ** 2, numbers.pattern_e(white_e) ** 2

    def seen(shape: Shape, contrast: Figure) -> FloatArray:
        found, depth_e = energies(shape), contrast * white_e
        spread_e2 = noise_e2 * found.samples + streaks_e2 * found.columns
        return np.asarray(depth_e * found.samples / np.sqrt(spread_e2))

    return seen


def cell_m2(numbers: Station) -> Figure:
    """
    Area of product that one sample stands for.

    Parameters
    ----------
    numbers : Station
        The station.

    Returns
    -------
    float or ndarray
        Object pixel across times line advance. [m²]
    """
    return numbers.geometry.object_pixel_x_um * numbers.timing.line_advance_um / _UM2_M2


def alarm_threshold(numbers: Station, false_alarms_per_m2: Figure) -> FloatArray:
    """
    Threshold of the filter that good product passes only so often.

    Parameters
    ----------
    numbers : Station
        The station.
    false_alarms_per_m2 : float or ndarray
        On the mean; every sample is a chance. [1/m²]

    Returns
    -------
    ndarray
        In standard deviations of the filter's noise.
    """
    from scipy.special import ndtri  # noqa: PLC0415 -- not needed for --help

    chance = np.minimum(false_alarms_per_m2 * cell_m2(numbers), 1.0)
    return np.asarray(-ndtri(chance))


def detection_rate(detectability: Figure, threshold: Figure) -> FloatArray:
    """
    Share of defects found at a threshold, Φ(d' − k).

    Parameters
    ----------
    detectability : float or ndarray
        The index d'.
    threshold : float or ndarray
        In standard deviations, k.

    Returns
    -------
    ndarray
        From 0 to 1.
    """
    from scipy.special import ndtr  # noqa: PLC0415 -- not needed for --help

    return np.asarray(ndtr(np.asarray(detectability) - threshold))


def false_alarms_per_m2(numbers: Station, threshold: Figure) -> FloatArray:
    """
    Count the false alarms that a threshold lets through.

    Parameters
    ----------
    numbers : Station
        The station.
    threshold : float or ndarray
        In standard deviations.

    Returns
    -------
    ndarray
        [1/m²]
    """
    from scipy.special import ndtr  # noqa: PLC0415 -- not needed for --help

    return np.asarray(ndtr(-np.asarray(threshold)) / cell_m2(numbers))


def wanted_dprime(numbers: Station, rate: Figure, alarms_per_m2: Figure) -> FloatArray:
    """
    Give the detectability for a rate at so few false alarms, Φ⁻¹(rate) + k.

    Parameters
    ----------
    numbers : Station
        The station.
    rate : float or ndarray
        Share of defects to find, between 0 and 1.
    alarms_per_m2 : float or ndarray
        False alarms allowed. [1/m²]

    Returns
    -------
    ndarray
        The index d'.
    """
    return np.asarray(miss_margin(rate) + alarm_threshold(numbers, alarms_per_m2))


def miss_margin(rate: Figure) -> FloatArray:
    """
    Give the detectability beyond the threshold that finds so many defects, Φ⁻¹(rate).

    Parameters
    ----------
    rate : float or ndarray
        Share of defects to find, between 0 and 1.

    Returns
    -------
    ndarray
        In standard deviations.
    """
    from scipy.special import ndtri  # noqa: PLC0415 -- not needed for --help

    return np.asarray(ndtri(rate))
