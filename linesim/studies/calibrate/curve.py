"""
The tone curve: from decoded values of a photograph to reflectance.

In a photograph a face of reflectance ρ under a share S of the light gives

    v = T⁻¹(ρ·S/k + f)

with T what the file's encoding has not undone, f the veiling glare of lens and room (a share of
the light that is spread over the whole picture) and k a scale (exposure and light). Hence

    ρ = k·(T(v) − f)/S,    T(v) = u/(1 + s·(1 − u)),    u = v^γ

γ bends the middle tones and s is the shoulder that cameras give to the lights (our choice: one
number each, and the curve rises everywhere for γ > 0 and s > −1). The fall-off of the light is read
off a blank by the same curve, S = (T(b) − f)/(T(b₀) − f), so that glare does not count as light.

How many of the four are fitted follows from the patches: one gives k; two give k and f, for glare
is in every photograph, while a bend cannot be told from it by two; three or four give γ as well;
five or more also s. So from five patches on, and with four, there is a patch left over to check by.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from linesim.setup.arrays import FloatArray

_FLOOR = 0.02
"""A patch is known to a share of its reflectance, black to this much beside; our choice."""
_WITH_GLARE, _WITH_GAMMA, _WITH_SHOULDER = 2, 3, 5
_STARTS = (1.0, 0.6, 1.7)
_GAMMA = (1 / 3, 3.0)
_SHOULDER = (0.2, 20.0)
"""Of 1 + s."""
_GLARE = (-0.3, 0.9)
_AT_END = 1e-3
_INSIDE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A tone curve of one channel."""

    gain: float
    glare: float = 0.0  # f, negative where the camera has taken off too much
    gamma: float = 1.0
    shoulder: float = 0.0
    blank_level: float = 1.0  # value of the blank where the light counts as whole

    def light(self, value: FloatArray) -> FloatArray:
        """Take encoding and glare off: light on an arbitrary scale."""
        bent = np.power(value, self.gamma)
        return np.asarray(bent / (1 + self.shoulder * (1 - bent)) - self.glare)

    def reflectance(self, value: FloatArray, blank: FloatArray | None = None) -> FloatArray:
        """Give the reflectance behind values, with the blank at the same places."""
        light = self.gain * self.light(value)
        if blank is None:
            return light
        whole = self.light(np.array(self.blank_level))
        return np.asarray(light * whole / np.maximum(self.light(blank), 1e-3 * whole))

    @property
    def at_its_end(self) -> bool:
        """Whether a bend is as strong as it may be, so that the true one may be stronger."""
        pairs = ((self.gamma, _GAMMA), (1 + self.shoulder, _SHOULDER))
        return any(
            abs(np.log(value / end)) < _AT_END for value, ends in pairs for end in ends
        ) or any(abs(self.glare - end) < _AT_END for end in _GLARE)


def fitted_numbers(patches: int) -> int:
    """Tell how many numbers of the curve so many patches give."""
    return min(patches, 3) if patches < _WITH_SHOULDER else 4


def fit_curve(
    values: FloatArray,
    reflectance: FloatArray,
    blank: FloatArray | None,
    blank_level: float,
    near: Curve | None = None,
) -> Curve:
    """
    Fit a curve to patches by least squares, each weighted by 1/(ρ + 0.02).

    The scale is solved for in closed form behind the others (variable projection). The search
    begins at a curve that is near, or at three places, and the best is taken.
    """
    count = len(values)
    weights = 1 / (reflectance + _FLOOR)

    def curve(numbers: FloatArray) -> Curve:
        glare = numbers[0] if count >= _WITH_GLARE else 0.0
        gamma = np.exp(numbers[1]) if count >= _WITH_GAMMA else 1.0
        shoulder = np.exp(numbers[2]) - 1 if count >= _WITH_SHOULDER else 0.0
        flat = Curve(
            gain=1.0,
            glare=float(glare),
            gamma=float(gamma),
            shoulder=float(shoulder),
            blank_level=blank_level,
        )
        seen = flat.reflectance(values, blank)
        power = float(np.sum((weights * seen) ** 2))
        gain = float(np.sum(weights**2 * seen * reflectance)) / max(power, 1e-30)
        return replace(flat, gain=gain)

    if count < _WITH_GLARE:
        return curve(np.zeros(3))
    starts = [np.array([0.0, np.log(start), 0.0]) for start in _STARTS]
    if near is not None:
        starts = [np.array([near.glare, np.log(near.gamma), np.log(1 + near.shoulder)])]
    return curve(_best(curve, weights, (values, reflectance, blank), starts))


def _best(
    curve: Callable[[FloatArray], Curve],
    weights: FloatArray,
    seen: tuple[FloatArray, FloatArray, FloatArray | None],
    starts: list[FloatArray],
) -> FloatArray:
    """Search from several starts; the numbers that a few patches do not give stay at none."""
    values, reflectance, blank = seen
    free = fitted_numbers(len(values)) - 1
    low, high = (
        np.array([_GLARE[end], np.log(_GAMMA[end]), np.log(_SHOULDER[end])])[:free]
        for end in (0, 1)
    )

    def residual(numbers: FloatArray) -> FloatArray:
        found = curve(np.concatenate([numbers, np.zeros(3 - free)]))
        return np.asarray(weights * (found.reflectance(values, blank) - reflectance))

    tried = [
        least_squares(
            residual,
            np.clip(start[:free], low + _INSIDE, high - _INSIDE),
            bounds=(low, high),
            xtol=1e-10,
            ftol=1e-14,
            gtol=1e-14,
        )
        for start in (starts if free > 1 else starts[:1])
    ]
    best = min(tried, key=lambda each: float(each.cost))
    return np.concatenate([np.asarray(best.x, dtype=np.float64), np.zeros(3 - free)])
