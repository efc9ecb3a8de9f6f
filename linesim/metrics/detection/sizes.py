"""How large a defect must be to stand out so far: the matched filter's d' turned round."""

from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.detection.energy import FEW_NODES, Disc, Shape
from linesim.metrics.detection.ground import Ground
from linesim.metrics.detection.sighting import Sighting, sighting_of
from linesim.setup.arrays import FloatArray

Goal = Callable[[Sighting], FloatArray]
"""Gives the detectability to be reached by what is sighted."""
Missing = Callable[[FloatArray], FloatArray]
"""By how much log d' exceeds what is wanted, over log size."""
_FAINTEST = 1e-60
_STEPS = 60
_CLOSE, _NEAR = 1e-8, 1e-2
"""Of log d': one more secant from there ends at rounding; and near enough for a first guess."""
_MANY, _GUESSED_PX = 32, 30.0
"""Sizes from which on it pays to guess by few frequencies first; and how large these may be: d' of
larger ones ripples with the frequencies."""
_USUAL_SLOPE = 2.0
_LONGEST = 3.0
_STEEPEST, _FLATTEST = 4.0, 0.25


def sizes_um(
    numbers: Station,
    of_size: Callable[[Figure], Shape],
    goals: Sequence[Goal],
    base: Ground,
    sighted: Callable[[Shape], Sighting] | None = None,
) -> tuple[FloatArray, ...]:
    """
    Size at which a shape reaches each of some goals; infinite where there is no signal. [µm].

    All goals together take hardly longer than one.

    Parameters
    ----------
    of_size : callable; gives the shape of a size in µm, such as a disc of a diameter
    goals : sequence of callable; each gives the detectability d' to be reached by what is sighted
    sighted : callable, optional; `sighting_of` that station on that ground, where it is at hand
    """
    start_um = 1.0 * np.asarray(numbers.geometry.object_pixel_x_um)
    lit = np.asarray(base.depth_e) > 0

    def missing_by(sighted: Callable[[Shape], Sighting]) -> Missing:
        def missing(log_um: FloatArray) -> FloatArray:
            seen = sighted(of_size(np.exp(log_um)))
            # each goal looks at its own sizes, and at those of the others in vain
            wanted = [np.broadcast_to(goal(seen), seen.dprime.shape) for goal in goals]
            own = np.stack([each[k] if each.ndim else each for k, each in enumerate(wanted)])
            ratio = np.where(lit, np.maximum(seen.dprime, _FAINTEST), 1) / np.where(lit, own, 1)
            return np.asarray(np.log(ratio))

        return missing

    shape = np.broadcast_shapes(_shape(numbers), lit.shape, np.shape(base.noise_e))
    start = np.log(np.broadcast_to(start_um, (len(goals), *shape)))
    slope = np.full_like(start, _USUAL_SLOPE)
    if start.size >= _MANY:
        few = missing_by(sighting_of(numbers, base, FEW_NODES))
        guess, steep = _reached(few, start, slope, _NEAR)
        useful = guess < start + np.log(_GUESSED_PX)
        start, slope = np.where(useful, guess, start), np.where(useful, steep, slope)
    full = sighted or sighting_of(numbers, base)
    found, _ = _reached(missing_by(full), start, slope, _CLOSE)
    size_um = np.exp(found)
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


def _reached(
    missing: Missing, start: FloatArray, slope: FloatArray, close: float
) -> tuple[FloatArray, FloatArray]:
    """Find where a rising function is 0 by secants, and its slope; log d' over log size is tame."""
    place, left = start, missing(start)
    for _ in range(_STEPS):
        # what has been found stays, so that a place does not depend on the others in the array
        step = np.where(np.abs(left) < close, 0, -np.clip(left / slope, -_LONGEST, _LONGEST))
        if not step.any():
            break
        place, before = place + step, left
        left = missing(place)
        seen = np.where(step == 0, slope, (left - before) / np.where(step == 0, 1, step))
        slope = np.clip(seen, _FLATTEST, _STEEPEST)
    return np.asarray(place - left / slope), slope
