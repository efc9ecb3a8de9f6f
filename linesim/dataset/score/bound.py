"""
What could be found at most: the search in closed form, at a fault's own d' and the same alarms.

A detector that knows nothing of the place looks at every sample. At so many false alarms on an area
the best linear one finds a share P(d') of the faults (`linesim.metrics.detection.search`): against
the camera's noise alone nobody finds more; before the product's texture, that is what a matched
filter reaches. The bank is that of a disc of the fault's area, noise is taken as normal, and all
alarms are allowed to it alone, which makes the bound a generous one.
"""

from dataclasses import replace
from math import pi

import numpy as np

from linesim.dataset.draw import Taken
from linesim.metrics.detection.energy import Disc, energies
from linesim.metrics.detection.ground import ground
from linesim.metrics.detection.sighting import alarm_threshold, detection_rate, sighting


def width_um(area_um2: float) -> float:
    """Give the diameter of a disc of that area. [µm]."""
    return float(np.sqrt(4 * area_um2 / pi))


def bounds(
    shot: Taken, size_um: float, dprimes: tuple[float, ...], alarms_per_m2: float
) -> tuple[float, ...]:
    """Give the share of faults of a size [µm] and indices found at so many alarms. [1/m²]."""
    # contrast 0: noise on the fault is that of the product
    good = ground(shot.numbers, 1.0, 0.0)
    seen = sighting(energies(shot.numbers, Disc(diameter_um=size_um)), good)
    threshold = alarm_threshold(shot.numbers, seen.bank, alarms_per_m2)
    sighted = (replace(seen, dprime=np.asarray(each)) for each in dprimes)
    return tuple(float(np.max(detection_rate(each, threshold))) for each in sighted)
