"""
Transfer of a delivered pixel, without the lens: its footprint, and what the line does meanwhile.

Frequencies are on the target. Across, a pixel is a box, of which its neighbours may have a share.
Along travel it is a box too, smeared by the travel while exposed, repeated by joined lines, and by
stages of time-delay integration where these are out of step. All of it broadcasts.
"""

from math import prod

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.lens import box_mtf, comb_mtf
from linesim.forward.sensor.carried import charge_transfer_mtf, lag_mtf
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray


def pixel_factors_across(numbers: Station, frequency_lp_mm: Figure) -> dict[str, FloatArray]:
    """
    Transfer across the web, each cause of blur for itself.

    Parameters
    ----------
    frequency_lp_mm : float or ndarray; on the target [lp/mm]

    Returns
    -------
    dict; name -> transfer: the pixel's side, and where there is any, crosstalk to its neighbours
    """
    place, share = numbers.geometry, np.asarray(numbers.sensor.crosstalk)
    factors = {"pixel": box_mtf(frequency_lp_mm * place.object_pixel_x_um / 1000)}
    if (share > 0).any():
        pitch_um = place.object_pixel_x_um / place.across
        turn = 2e-3 * np.pi * frequency_lp_mm * pitch_um
        # transform of [c, 1 - 2c, c], a pixel apart
        factors["crosstalk"] = np.asarray(1 - 2 * share * (1 - np.cos(turn)))
    return factors


def pixel_mtf_across(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """
    Transfer across the web of all causes together.

    Parameters
    ----------
    frequency_lp_mm : float or ndarray; on the target [lp/mm]

    Returns
    -------
    ndarray; 1 for a point
    """
    return np.asarray(prod(pixel_factors_across(numbers, frequency_lp_mm).values()))


def motion_mtf(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """
    Transfer along travel of the motion during the exposure alone.

    Parameters
    ----------
    frequency_lp_mm : float or ndarray; on the target [lp/mm]

    Returns
    -------
    ndarray; 1 for a target that stands still
    """
    return box_mtf(frequency_lp_mm * numbers.motion_um / 1000)


def pixel_factors_along(numbers: Station, frequency_lp_mm: Figure) -> dict[str, FloatArray]:
    """
    Transfer along travel, each cause of blur for itself.

    Parameters
    ----------
    frequency_lp_mm : float or ndarray; on the target [lp/mm]

    Returns
    -------
    dict; name -> transfer: rows, motion, joined lines, stages out of step, and charge left behind
    """
    place, advance_um = numbers.geometry, numbers.timing.exposed_advance_um
    per_um = frequency_lp_mm / 1000
    factors = {
        "pixel": box_mtf(per_um * place.row_side_um),
        "motion": motion_mtf(numbers, frequency_lp_mm),
        "joined lines": _comb(place.lines_joined, per_um * advance_um),
        "stages": _comb(place.stages, per_um * (advance_um - place.row_side_um)),
    }
    lag, loss = numbers.sensor.lag, numbers.sensor.inefficiency
    if (np.asarray(lag) > 0).any():
        factors["lag"] = lag_mtf(lag, per_um * advance_um)
    if (np.asarray(loss) > 0).any():
        factors["charge transfer"] = charge_transfer_mtf(loss, place.stages, per_um * advance_um)
    return factors


def _comb(count: Figure, cycles: Figure) -> FloatArray:
    # one exposure has none, which most stations are spared four sines for
    if (np.asarray(count) == 1).all():
        return np.asarray(count + 0.0 * np.asarray(cycles))
    return comb_mtf(count, cycles)


def pixel_mtf_along(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """
    Transfer along travel of all causes together.

    Parameters
    ----------
    frequency_lp_mm : float or ndarray; on the target [lp/mm]

    Returns
    -------
    ndarray; 1 for a point
    """
    return np.asarray(prod(pixel_factors_along(numbers, frequency_lp_mm).values()))


def longest_side_um(numbers: Station) -> FloatArray:
    """
    Side of the widest of the boxes and combs that blur along travel.

    Returns
    -------
    ndarray; its inverse is the transfer's first zero [µm]
    """
    place, advance_um = numbers.geometry, numbers.timing.exposed_advance_um
    joined_um = np.where(np.asarray(place.lines_joined) > 1, place.lines_joined * advance_um, 0)
    smeared_um = place.stages * np.abs(advance_um - place.row_side_um)
    smeared_um = np.where(np.asarray(place.stages) > 1, smeared_um, 0)
    sides_um = np.broadcast_arrays(place.row_side_um, numbers.motion_um, joined_um, smeared_um)
    return np.asarray(np.maximum.reduce(sides_um))
