"""How fine a reference may be for a station: finer costs time squared and shows nothing more."""

from dataclasses import replace
from math import ceil, floor, log10

import numpy as np

from linesim.forward.station import Station
from linesim.setup.errors import refuse

MOST_PIXELS = 500
"""Reference pixels in a side of what one exposure of a pixel sees; our choice."""

MOST_BLUR_PIXELS = 5000
"""Reference pixels across the disc to which a point out of focus blurs; our choice."""


def least_side_um(numbers: Station) -> float:
    """
    Give the smaller side of what the sensor sees at one moment.

    Returns
    -------
    float; on the target [µm]
    """
    place = numbers.geometry
    return min(float(place.object_pixel_x_um), float(place.row_side_um))


def refuse_too_fine(numbers: Station, pitch_um: float, flutter_mm: float = 0.0) -> None:
    """
    Refuse a reference so fine that the scan would take for ever and look the same.

    Parameters
    ----------
    numbers : Station
    pitch_um : float; side of a reference pixel on the target [µm]
    flutter_mm : float; how far the target leaves its plane, to each side [mm]

    Raises
    ------
    InputError
        Where one exposure of a pixel sees more than 500 reference pixels across or along travel, or
        a point out of focus is spread over more than 5000.
    """
    place = numbers.geometry
    across_um = float(place.object_pixel_x_um)
    along_um = float(place.row_side_um) + float(numbers.motion_um)
    longest_um = max(across_um, along_um)
    if longest_um > MOST_PIXELS * pitch_um:
        refuse(
            f"target.pixel_size: read {pitch_um:g} um, but an exposure of one pixel sees "
            f"{across_um / 1000:.4g} mm across and {along_um / 1000:.4g} mm along travel, up to "
            f"{longest_um / pitch_um:.4g} reference pixels a side (at most {MOST_PIXELS}); "
            f"expected {_upwards(longest_um / MOST_PIXELS):g} um or more (3 or 4 in an object "
            "pixel are enough), or a station that sees less at a time"
        )
    away_mm = float(np.max(np.abs(numbers.ends_optics.defocus_mm))) + flutter_mm
    disc = replace(numbers.optics, defocus_mm=away_mm)
    disc_um = float(disc.defocus_disc_um / disc.magnification)
    if disc_um > MOST_BLUR_PIXELS * pitch_um:
        refuse(
            f"lens.defocus, transport.flutter: read {away_mm:g} mm from best focus in all, where a "
            f"point blurs to {disc_um / 1000:.4g} mm of the target, {disc_um / pitch_um:.4g} "
            f"reference pixels (at most {MOST_BLUR_PIXELS}); expected a target nearer to best focus"
        )


def _upwards(number: float) -> float:
    """Round up to three digits, so that what a refusal names is let in."""
    unit = 10.0 ** (floor(log10(number)) - 2)
    return ceil(number / unit) * unit
