"""The fixed pattern of a camera, in the dark and in the light, with intervals, by EMVA 1288."""

from typing import NamedTuple

from linesim.metrics.flat.noise import Estimate, FrameFigures
from linesim.metrics.interval import Interval, root_interval


class PatternParts(NamedTuple):
    """A standard deviation over the pixels and its parts by direction."""

    # of all; between rows (on a line-scan camera: in time), between columns, and the rest
    total: Interval
    row: Interval
    column: Interval
    pixel: Interval


def dsnu(dark: FrameFigures, gain_dn_e: Estimate) -> PatternParts:
    """Find the fixed pattern in the dark: EMVA 1288 R4.0 RC (March 2021), (33) to (44), (66)."""
    gain2 = Estimate(value=gain_dn_e.value**2, sd=2 * gain_dn_e.value * gain_dn_e.sd)
    return PatternParts(*(root_interval(part.over(gain2)) for part in dark.spatial_dn2))


def prnu(half: FrameFigures, dark: FrameFigures) -> PatternParts:
    """
    Find the fixed pattern in the light, PRNU, as shares of the signal; fall-off counts in.

    The light is that of half saturation, the dark of the same exposure time. EMVA 1288 R4.0 RC
    (March 2021), (33) to (44), (67).
    """
    signal = half.mean_dn.less(dark.mean_dn)
    signal2 = Estimate(value=signal.value**2, sd=2 * signal.value * signal.sd)
    pattern = half.spatial_dn2.less(dark.spatial_dn2)
    return PatternParts(*(root_interval(part.over(signal2)) for part in pattern))
