"""How large a defect must be to stand out so far: the matched filter's d' turned round."""

from collections.abc import Callable, Sequence

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.defect_shapes import Disc, Shape
from linesim.metrics.detection import dprime_of
from linesim.setup.arrays import FloatArray

_STEPS = 60
_CLOSE = 1e-8
"""Of log d': one more secant from there ends at rounding."""
_LONGEST = 3.0
_STEEPEST, _FLATTEST = 4.0, 0.25


def smallest_um(
    numbers: Station,
    of_size: Callable[[Figure], Shape],
    detectability: Figure,
    *,
    contrast: Figure,
) -> FloatArray:
    """
    Size at which a shape reaches a detectability.

    Parameters
    ----------
    numbers : Station
        The station.
    of_size : callable
        Gives the shape of a size in µm, such as a disc of a diameter.
    detectability : float or ndarray
        The index d' to be reached.
    contrast : float or ndarray
        Share of white.

    Returns
    -------
    ndarray
        Infinite where there is no signal, 0 where nothing is asked for. [µm]
    """
    return sizes_um(numbers, of_size, (detectability,), contrast=contrast)[0]


def sizes_um(
    numbers: Station,
    of_size: Callable[[Figure], Shape],
    detectabilities: Sequence[Figure],
    *,
    contrast: Figure,
) -> tuple[FloatArray, ...]:
    """
    Size at which a shape reaches each of some detectabilities; all together take hardly longer.

    Parameters
    ----------
    numbers : Station
        The station.
    of_size : callable
        Gives the shape of a size in µm, such as a disc of a diameter.
    detectabilities : sequence of float or ndarray
        Each an index d' to be reached.
    contrast : float or ndarray
        Share of white.

    Returns
    -------
    tuple of ndarray
        As `smallest_um` has them. [µm]
    """
    per_contrast = np.asarray(contrast * numbers.electrons_white)
    start_um = 1.0 * np.asarray(numbers.geometry.object_pixel_x_um)
    seen_at = dprime_of(numbers)
    one = seen_at(of_size(start_um), contrast)
    shapes = (np.shape(each) for each in detectabilities)
    shape = np.broadcast_shapes(one.shape, per_contrast.shape, *shapes)
    wanted = np.stack([np.broadcast_to(each, shape) for each in detectabilities])
    asked, lit = wanted > 0, np.broadcast_to(per_contrast > 0, shape)

    def missing(log_um: FloatArray) -> FloatArray:
        seen = seen_at(of_size(np.exp(log_um)), contrast)
        ratio = np.where(lit & asked, seen, 1) / np.where(lit & asked, wanted, 1)
        return np.asarray(np.log(ratio))

    size_um = np.exp(_reached(missing, np.log(np.broadcast_to(start_um, wanted.shape))))
    return tuple(np.asarray(each) for each in np.where(asked, np.where(lit, size_um, np.inf), 0.0))


def disc_of(diameter_um: Figure) -> Shape:
    """
    Give the disc of a diameter.

    Parameters
    ----------
    diameter_um : float or ndarray
        Its diameter. [µm]

    Returns
    -------
    Shape
        The disc.
    """
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
