"""How large a defect must be to stand out so far: the matched filter's d' turned round."""

from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.detection.energy import Disc, Shape
from linesim.metrics.detection.ground import Ground
from linesim.metrics.detection.sighting import Sighting, sighting_of
from linesim.setup.arrays import FloatArray

Goal = Callable[[Sighting], FloatArray]
"""Gives the detectability to be reached by what is sighted."""
_FAINTEST = 1e-60
_STEPS = 60
_CLOSE = 1e-8
"""Of log d': one more secant from there ends at rounding."""
_LONGEST = 3.0
_STEEPEST, _FLATTEST = 4.0, 0.25


def sizes_um(
    numbers: Station,
    of_size: Callable[[Figure], Shape],
    goals: Sequence[Goal],
    base: Ground,
) -> tuple[FloatArray, ...]:
    """
    Size at which a shape reaches each of some goals; all together take hardly longer.

    Parameters
    ----------
    of_size : callable; gives the shape of a size in µm, such as a disc of a diameter
    goals : sequence of callable; each gives the detectability d' to be reached by what is sighted
    base : Ground; what the defect lies on

    Returns
    -------
    tuple of ndarray; infinite where there is no signal [µm]
    """
    start_um = 1.0 * np.asarray(numbers.geometry.object_pixel_x_um)
    sighted = sighting_of(numbers, base)

    def missing(log_um: FloatArray) -> FloatArray:
        seen = sighted(of_size(np.exp(log_um)))
        # each goal looks at its own sizes, and at those of the others in vain
        wanted = [np.broadcast_to(goal(seen), seen.dprime.shape) for goal in goals]
        own = np.stack([each[k] if each.ndim else each for k, each in enumerate(wanted)])
        ratio = np.where(lit, np.maximum(seen.dprime, _FAINTEST), 1) / np.where(lit, own, 1)
        return np.asarray(np.log(ratio))

    lit = np.asarray(base.depth_e) > 0
    shape = np.broadcast_shapes(_shape(numbers), lit.shape, np.shape(base.noise_e))
    start = np.log(np.broadcast_to(start_um, (len(goals), *shape)))
    size_um = np.exp(_reached(missing, start))
    return tuple(np.asarray(each) for each in np.where(lit, size_um, np.inf))


def _shape(part: object) -> tuple[int, ...]:
    """Shape to which all numbers of a station broadcast."""
    if is_dataclass(part):
        return np.broadcast_shapes(*(_shape(getattr(part, each.name)) for each in fields(part)))
    if isinstance(part, tuple):
        return np.broadcast_shapes(*map(_shape, part))
    return np.asarray(part).shape


def disc_of(diameter_um: Figure) -> Shape:
    """Give the disc of a diameter."""
    return Disc(diameter_um=diameter_um)


def _reached(missing: Callable[[FloatArray], FloatArray], start: FloatArray) -> FloatArray:
    """Find where a rising function is 0 by secants; of log d' over log size, the slope is tame."""
    place, slope, left = start, np.full_like(start, 2.0), missing(start)
    for _ in range(_STEPS):
        # what has been found stays, so that a place does not depend on the others in the array
        step = np.where(np.abs(left) < _CLOSE, 0, -np.clip(left / slope, -_LONGEST, _LONGEST))
        if not step.any():
            break
        place, before = place + step, left
        left = missing(place)
        seen = np.where(step == 0, slope, (left - before) / np.where(step == 0, 1, step))
        slope = np.clip(seen, _FLATTEST, _STEEPEST)
    return np.asarray(place - left / slope)
