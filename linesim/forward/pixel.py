"""
Transfer of a delivered pixel, without the lens: its footprint, and what the line does meanwhile.

Frequencies are on the target. Across, a pixel is a box. Along travel it is a box too, smeared by
the travel while exposed, repeated by joined lines, and by stages of time-delay integration where
these are out of step. All of it broadcasts.
"""

from math import prod

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.lens import box_mtf, comb_mtf
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray


def pixel_mtf_across(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """
    Transfer across the web: the pixel's side.

    Parameters
    ----------
    numbers : Station
    frequency_lp_mm : float or ndarray; on the target [lp/mm]

    Returns
    -------
    ndarray; 1 for a point
    """
    return box_mtf(frequency_lp_mm * numbers.geometry.object_pixel_x_um / 1000)


def motion_mtf(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """
    Transfer along travel of the motion during the exposure alone.

    Parameters
    ----------
    numbers : Station
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
    numbers : Station
    frequency_lp_mm : float or ndarray; on the target [lp/mm]

    Returns
    -------
    dict; name -> transfer: rows, motion, joined lines, and stages out of step
    """
    place, advance_um = numbers.geometry, numbers.timing.exposed_advance_um
    per_um = frequency_lp_mm / 1000
    return {
        "pixel": box_mtf(per_um * place.row_side_um),
        "motion": motion_mtf(numbers, frequency_lp_mm),
        "joined lines": comb_mtf(place.lines_joined, per_um * advance_um),
        "stages": comb_mtf(place.stages, per_um * (advance_um - place.row_side_um)),
    }


def pixel_mtf_along(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """
    Transfer along travel of all causes together.

    Parameters
    ----------
    numbers : Station
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
