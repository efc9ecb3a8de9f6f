"""
Levels of a filter's output that counts electrons, and of a normal value, that are passed as often.

Electrons come in whole ones, so the output of a filter is not quite normal, and far out it matters.
Of a normal value, level z is passed as often as level y of the output by Lugannani and Rice's
saddlepoint. With β the share of shot noise in the variance, ε what an electron moves the output by,
and K(u) = β(exp(-εu) - 1 + εu)/ε² + (1 - β)u²/2, a dark defect being searched:

    y = K'(u),   r² = 2(uK' - K),   z = r + ln(u √K''/r)/r.

Of a sum of alike samples that is right to 0.003 of z from 4 electrons a sample on; a filter of
unlike weights is taken for such a sum of the same third moment.

References
----------
R. Lugannani and S. Rice, Saddle point approximation for the distribution of the sum of independent
random variables, 1980 (from memory).
"""

import numpy as np

from linesim.forward.geometry import Figure
from linesim.setup.arrays import FloatArray

_STEPS = 12
_EXACT = 1e-10
_SERIES = 1e-2
_FAR = 35.0
"""Level beyond which nothing counts: one in 10²⁶⁰."""


def _saddle(shot: Figure, size: Figure, place: FloatArray) -> tuple[FloatArray, ...]:
    """Level of the output at a saddlepoint, the normal level as rare, and the slope of that."""
    turn = size * place
    small, lost = np.abs(turn) < _SERIES, np.expm1(-turn)
    if small.any():
        series = place**2 * (1 / 2 - turn / 6 + turn**2 / 24 - turn**3 / 120)
        step = np.where(small, 1.0, size)
        cumulant = np.where(small, series, (lost + turn) / step**2)
        rise = np.where(small, place * (1 - turn / 2 + turn**2 / 6), -lost / step)
    else:
        cumulant, rise = (lost + turn) / np.square(size), -lost / size
    # of shot noise alone, far down, it vanishes: a level that no number of electrons gives
    curve = np.maximum(shot * np.exp(-turn) + 1 - shot, 1e-300)
    level = shot * rise + (1 - shot) * place
    whole = shot * cumulant + (1 - shot) * place**2 / 2
    root = np.sqrt(np.maximum(2 * (place * level - whole), 1e-12))
    normal = root + np.log(place * np.sqrt(curve) / root) / root
    return np.asarray(level), np.asarray(normal), np.asarray(place * curve / root)


def _held(step: FloatArray, place: FloatArray) -> FloatArray:
    """Keep a step of Newton's within a half and five times of where it starts."""
    return np.asarray(np.minimum(np.maximum(step, -place / 2), 4 * place))


def true_level(shot: Figure, size: Figure, normal: Figure) -> FloatArray:
    """Give the level that the output passes as often as a normal value passes another."""
    place = np.asarray(normal + 0.0 * np.asarray(size))
    for _ in range(_STEPS):
        _, seen, slope = _saddle(shot, size, place)
        step = _held((normal - seen) / np.maximum(slope, 1e-3), place)
        place = place + step
        if (np.abs(step) < _EXACT * place).all():
            break
    return _saddle(shot, size, place)[0]


def normal_level(shot: Figure, size: Figure, level: Figure) -> FloatArray:
    """Give the level that a normal value passes as often as the output passes this one."""
    goal = np.clip(np.asarray(level, dtype=np.float64), 1e-3, _FAR)
    place = goal + 0.0 * np.asarray(size)
    for _ in range(_STEPS):
        seen = _saddle(shot, size, place)[0]
        curve = shot * np.exp(-size * place) + 1 - shot
        step = _held((goal - seen) / np.maximum(curve, 1e-3), place)
        place = place + step
        if (np.abs(step) < _EXACT * place).all():
            break
    return _saddle(shot, size, place)[1]
