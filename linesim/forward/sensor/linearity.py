"""What a bent response makes of the levels of a station, and back. All of it broadcasts."""

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.sensor.bend import bent, straightened
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray


def full_reading_e(numbers: Station) -> FloatArray:
    """Give the charge of one reading at its nearest limit: well, place of summing, word. [e]."""
    sensor = numbers.sensor
    wells_e = numbers.wells() / numbers.reads * sensor.full_well_e
    limits_e = wells_e, numbers.place_e, sensor.conversion.full_scale_e
    return np.asarray(np.minimum.reduce(np.broadcast_arrays(*limits_e)))


def shown_e(numbers: Station, charge_e: Figure) -> Figure:
    """
    Give the charge that a straight response would have for the number of a delivered pixel.

    Parameters
    ----------
    charge_e : float or ndarray; signal, with the dark current that the number still has [e]

    Returns
    -------
    float or ndarray; a flat field, straight between dark and white, leaves both where they are [e]
    """
    if not np.any(np.asarray(numbers.sensor.bend) > 0):
        return charge_e
    dark_e, lift = _corrected(numbers)
    return (_bent(numbers, charge_e + dark_e) - _bent(numbers, dark_e)) * lift


def meant_e(numbers: Station, reported_e: Figure) -> Figure:
    """
    Undo `shown_e`.

    Parameters
    ----------
    reported_e : float or ndarray; charge by a straight response [e]
    """
    if not np.any(np.asarray(numbers.sensor.bend) > 0):
        return reported_e
    dark_e, lift = _corrected(numbers)
    one_e = (reported_e / lift + _bent(numbers, dark_e)) / numbers.reads
    whole_e = straightened(np.asarray(one_e), numbers.sensor.bend, full_reading_e(numbers))
    return whole_e * numbers.reads - dark_e


def _bent(numbers: Station, charge_e: Figure) -> FloatArray:
    one_e = np.asarray(charge_e / numbers.reads)
    return np.asarray(
        numbers.reads * bent(one_e, numbers.sensor.bend, full_reading_e(numbers)), np.float64
    )


def _corrected(numbers: Station) -> tuple[FloatArray, FloatArray]:
    """Give the dark charge that a flat field takes off, and the gain that brings white back."""
    dark_e = np.asarray(numbers.dark_e - numbers.delivered_dark_e, dtype=np.float64)
    white_e = np.minimum(numbers.electrons_white + numbers.dark_e, numbers.saturation_e)
    rise_e = _bent(numbers, white_e) - _bent(numbers, dark_e)
    corrected = (np.asarray(numbers.sensor.reference_lines) > 0) & (rise_e > 0)
    lift = np.where(corrected, (white_e - dark_e) / np.where(rise_e > 0, rise_e, 1.0), 1.0)
    return dark_e, np.asarray(lift)
