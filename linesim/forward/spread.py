"""
The lens's point spread as a short sum of separable terms, each a table of running integrals.

The two-dimensional transfer of a round lens depends on the distance from the origin alone,
H(√(f_x²+f_y²)), and that is no product of one function of f_x and one of f_y. The first term here
is the product of the two line spreads, H(f_x)·H(f_y), exact on both axes and too low between. What
it lacks is symmetric and zero on the axes, and its eigenvectors give the further terms, strongest
first: H ≈ H(f_x)H(f_y) + Σ λ_k u_k(f_x) u_k(f_y) with u_k(0) = 0. So every number of terms keeps
the energy and is exact along x and y.

Diffraction spreads light as 1/x², too far to follow. Each spread is therefore cut to one period P,
and its transfer agrees with the true one at every multiple of 1/P; what lies further out is spread
over that period. ``linesim/forward/README.md`` has the error of both steps in figures.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from linesim.forward.lens import Optics, gaussian_mtf
from linesim.setup.arrays import FloatArray

PERIOD_WAVES = 40.0
"""Period in units of λN_w; the transfer is then within 0.006 near f = 0, 0.003 beyond 0.02/λN_w."""
OFF_AXIS_ERROR = 0.006
"""Largest error of the transfer between the axes, up to the Nyquist frequency, by default: what the
finite period leaves on the axes."""
MOST_TERMS = 6
_STEPS_PER_WAVE = 12.0
_GAUSSIAN_REACH = 9.0
_POINT = 1024


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """One separable term of the lens spread, in one dimension, on the target."""

    period_um: float  # the spread is zero outside half of it on either side [µm]
    amplitude: FloatArray  # shape (n,); transfer at the frequencies k/period
    step_um: float  # fine enough for cubic interpolation of its integrals [µm]

    def integrals(self, x_um: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Integrate the spread once, twice and three times, from the left."""
        half = self.period_um / 2
        inside = np.clip(x_um, -half, half)
        beyond = x_um - inside
        mean, angular, swing = self._waves()
        phase = np.multiply.outer(inside, angular)
        sine, cosine = np.sin(phase), np.cos(phase)
        at_left = np.cos(half * angular)
        y = inside + half
        first = mean * y + sine @ (swing / angular)
        second = mean * y**2 / 2 - (cosine - at_left) @ (swing / angular**2)
        third = mean * y**3 / 6 - sine @ (swing / angular**3) + y * (at_left @ (swing / angular**2))
        after = np.maximum(beyond, 0)
        total = self.amplitude[0]
        return (
            first,
            second + after * total,
            third + after * second + after**2 / 2 * total,
        )

    def _waves(self) -> tuple[float, FloatArray, FloatArray]:
        index = np.arange(1, len(self.amplitude), dtype=np.float64)
        angular = 2 * np.pi * index / self.period_um
        return (
            float(self.amplitude[0] / self.period_um),
            angular,
            2 * self.amplitude[1:] / self.period_um,
        )


@dataclass(frozen=True, slots=True, eq=False)
class LensSpread:
    """The lens spread as a sum of separable terms."""

    terms: tuple[Spread, ...]  # across
    weights: tuple[float, ...]
    off_axis_error: float
    # along; a lens that blurs alike in both directions has the same there
    along: tuple[Spread, ...]


def _first_term(optics: Optics) -> tuple[Spread, FloatArray]:
    """Take the line spread itself, and the frequencies of its table on the target."""
    m = float(optics.magnification)
    wave_um = 1000 / float(optics.cutoff_lp_mm) / m
    disc_um = float(optics.defocus_disc_um) / m
    sigma_um = float(optics.rest_blur_um) / m
    # whatever is added to the far light of diffraction, folding it in errs no more than alone
    period_um = float(np.hypot(PERIOD_WAVES * wave_um, disc_um + _GAUSSIAN_REACH * sigma_um))
    count = int(_band_limit(optics) * m / 1000 * period_um)
    frequency = np.arange(count + 1) / period_um
    step_um = 1 / (_STEPS_PER_WAVE * frequency[-1])
    return Spread(period_um, optics.round_mtf(frequency * 1000 / m), step_um), frequency


def _band_limit(optics: Optics) -> float:
    """Frequency at the sensor beyond which nothing passes, to one part in 10⁵. [cycles/mm]."""
    cutoff = float(optics.last_lp_mm)
    frequency = np.linspace(0, cutoff, 2001)
    passed = np.flatnonzero(np.abs(optics.round_mtf(frequency)) > 1e-5)  # noqa: PLR2004 -- as stated
    return float(frequency[min(passed[-1] + 1, 2000)])


def point_spread(object_pixel_um: float) -> LensSpread:
    """Give the spread of a lens that blurs nothing."""
    point_um = object_pixel_um / _POINT
    terms = (Spread(point_um, np.ones(1), point_um),)
    return LensSpread(terms, (1.0,), 0.0, terms)


@lru_cache(maxsize=128)
def lens_spread(
    optics: Optics, object_pixel_um: float, off_axis_error: float = OFF_AXIS_ERROR
) -> LensSpread:
    """
    Split the lens spread into as few separable terms as an error allows.

    Parameters
    ----------
    optics : Optics; plain numbers, no arrays
    object_pixel_um : float
        The smaller side of the delivered pixel on the target; its Nyquist frequency is the last one
        at which the error is judged. [µm]
    off_axis_error : float; largest error of the transfer; 1 takes a single term

    Returns
    -------
    LensSpread; at most six terms; ``off_axis_error`` says what they reached
    """
    first, frequency = _first_term(optics)
    m = float(optics.magnification)
    radius = np.hypot(frequency[:, None], frequency)
    lacking = optics.round_mtf(radius * 1000 / m) - np.outer(first.amplitude, first.amplitude)
    # frequencies that the pixel keeps count for more
    weight = 1 / (1 + (2 * frequency * object_pixel_um) ** 2)
    value, vector = np.linalg.eigh(weight[:, None] * lacking * weight)
    judged = np.ix_(*[frequency <= 0.5 / object_pixel_um] * 2)
    terms, signs = [first], [1.0]
    for k in np.argsort(-np.abs(value)):
        if np.abs(lacking[judged]).max() <= off_axis_error or len(terms) == MOST_TERMS:
            break
        amplitude = np.sqrt(np.abs(value[k])) * vector[:, k] / weight
        amplitude[0] = 0.0
        sign = float(np.sign(value[k]))
        lacking = lacking - sign * np.outer(amplitude, amplitude)
        terms.append(Spread(first.period_um, amplitude, first.step_um))
        signs.append(sign)
    across, along = (
        _blurred(terms, frequency * float(more_um) / m)
        for more_um in (optics.more_across_um, optics.more_along_um)
    )
    return LensSpread(across, tuple(signs), float(np.abs(lacking[judged]).max()), along)


def _blurred(terms: list[Spread], cycles: FloatArray) -> tuple[Spread, ...]:
    """Widen all terms in one direction, by a Gaussian that so many cycles fit in."""
    if not cycles.any():
        return tuple(terms)
    passed = gaussian_mtf(cycles)
    return tuple(replace(term, amplitude=term.amplitude * passed) for term in terms)


@dataclass(frozen=True, slots=True, eq=False)
class Footprint:
    """A pixel's side, blurred by one lens term: its running integrals on a fine, even grid."""

    # first point of the grid and distance of its points, from the pixel's centre [µm]
    start_um: float
    step_um: float
    density_per_um: FloatArray  # shape (n,); the blurred side itself [1/µm]
    once: FloatArray  # shape (n,); first integral [1], and the second [µm]
    twice: FloatArray

    @property
    def reach_um(self) -> float:
        """The blurred side is zero further than this from its centre. [µm]."""
        return -self.start_um

    def integral(self, x_um: FloatArray) -> FloatArray:
        """Weight left of ``x_um``, from the pixel's centre."""
        return self._cubic(x_um, self.once, self.density_per_um)

    def moving_integral(self, x_um: FloatArray, travel_um: FloatArray) -> FloatArray:
        """Weight left of ``x_um`` for a pixel that travels evenly, from its place at the start."""
        # a pixel at rest needs no branch of its own: an eighth of a grid step, centred, is rest
        counted_um = np.maximum(travel_um, self.step_um / 8)
        front_um = x_um + (counted_um - travel_um) / 2
        ahead = self._cubic(front_um, self.twice, self.once)
        behind = self._cubic(front_um - counted_um, self.twice, self.once)
        return (ahead - behind) / counted_um

    def shrunk(self, factor: float) -> "Footprint":
        """Give the same side where the lens magnifies so much more."""
        if factor == 1:
            return self
        return Footprint(
            self.start_um / factor,
            self.step_um / factor,
            self.density_per_um * factor,
            self.once,
            self.twice / factor,
        )

    def comb(self, count: int, spacing_um: float) -> "Footprint":
        """
        Average copies of this side at even distances, their middle where it is.

        Stages of time-delay integration out of step make such a comb: its transfer is
        sin(πNεf)/(N sin(πεf)) for N stages at a distance ε.
        """
        if count == 1 or spacing_um == 0:
            return self
        offset_um = (np.arange(count, dtype=np.float64) - (count - 1) / 2) * spacing_um
        return self.mixed(offset_um, np.ones(count))

    def mixed(self, offset_um: FloatArray, weight: FloatArray) -> "Footprint":
        """Average copies of this side at some distances, each with its weight."""
        reach_um = self.reach_um + float(np.abs(offset_um).max())
        points = int(np.ceil(2 * reach_um / self.step_um)) + 1
        x_um, step_um = np.linspace(-reach_um, reach_um, points, retstep=True)
        density, once, twice = np.zeros((3, points))
        for shift_um, times in zip(offset_um, weight, strict=True):
            density += times * np.interp(
                x_um - shift_um, self._grid_um, self.density_per_um, left=0.0, right=0.0
            )
            once += times * self.integral(x_um - shift_um)
            twice += times * self._cubic(x_um - shift_um, self.twice, self.once)
        whole = weight.sum()
        return Footprint(-reach_um, float(step_um), density / whole, once / whole, twice / whole)

    @property
    def _grid_um(self) -> FloatArray:
        return np.asarray(self.start_um + self.step_um * np.arange(len(self.once)))

    def _cubic(self, x_um: FloatArray, value: FloatArray, slope: FloatArray) -> FloatArray:
        """Cubic Hermite interpolation; beyond the grid the last slope goes on."""
        place = (x_um - self.start_um) / self.step_um
        inside = np.clip(place, 0, len(value) - 1)
        left = np.minimum(inside.astype(np.intp), len(value) - 2)
        t = inside - left
        rise = value[left + 1] - value[left]
        near, far = slope[left] * self.step_um - rise, rise - slope[left + 1] * self.step_um
        bent = value[left] + t * (rise + (1 - t) * ((1 - t) * near + t * far))
        return np.asarray(bent + np.maximum(place - inside, 0) * self.step_um * slope[-1])


def footprint(spread: Spread, side_um: float) -> Footprint:
    """Blur one side of a pixel."""
    reach_um = (spread.period_um + side_um) / 2
    count = int(np.ceil(2 * reach_um / spread.step_um)) + 1
    x_um, step_um = np.linspace(-reach_um, reach_um, count, retstep=True)
    right, left = spread.integrals(x_um + side_um / 2), spread.integrals(x_um - side_um / 2)
    density, once, twice = ((a - b) / side_um for a, b in zip(right, left, strict=True))
    return Footprint(-reach_um, float(step_um), density, once, twice)
