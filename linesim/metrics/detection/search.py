"""
The search that finds a defect whose place is not known, in closed form.

At every sample a bank of matched filters stands, one for each of 4 x 4 places of the defect inside
the sample; the largest output counts, and an alarm is a peak of it over a threshold. The outputs
make up a smooth random field of unit variance. With λ the mean squared slope of the field a sample,
d the filter's detectability, k the threshold, and λs = (λ_x + λ_y)/(24·16) what a place between
those of the bank loses of a peak on the mean:

* False alarms are peaks of the field: √(λ_x λ_y) (2π)^(-3/2) k exp(-k²/2) a sample; k is lowered by
  the share λs. Electrons are counted in whole
  ones, which moves the threshold: `linesim.metrics.detection.uneven`.
* A defect lifts the field by a hill of height d and curvature dλ. Noise h at its top is normal, and
  the field's slope there moves the peak up by an exponential value of mean 1/h. With z = (k -
  d)/√v, v the variance of the output on the defect (a dark one sends less light, so less noise), it
  is found by

      P = Φ(-z) + ½ exp(-z²/2) erfcx((k√v - z)/√2), dP/dd = ½ k exp(-z²/2) erfcx((k√v - z)/√2).

* d swings with the place on the grid of samples: P is the mean over 4 x 4 places, even in both.

References
----------
Peaks of smooth random fields: R. J. Adler, The Geometry of Random Fields, 1981 (from memory).
The rest is derived.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
import scipy

from linesim.forward.geometry import Figure
from linesim.metrics.detection.energy import Energies
from linesim.metrics.detection.uneven import normal_level, true_level
from linesim.setup.arrays import FloatArray

PHASES = 4
"""Places of the defect inside a sample that the bank knows, each way."""
_SWING = 0.5**0.5
_SIGNS = tuple(product((-_SWING, _SWING), repeat=2))
"""Cosines, across and along, of 4 x 4 places evenly laid in a period: they stand for all."""
_EXACT = 1e-10
_STEPS = 12
_LEAST_VARIANCE, _MOST_SHOT = 0.05, 0.999
_MOST_LOSS = 0.25
"""Lines far apart see a defect or miss it: no place of a bank stands for those between."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bank:
    """What the search needs to know of a defect and of the noise; numbers or arrays."""

    # √(λ_x λ_y) and λ_x + λ_y of the filter's output, λ its mean squared slope a sample
    looks: Figure
    slopes: Figure
    wave_x: Figure  # by which share d² swings with the place across and along
    wave_y: Figure
    shot: Figure = 0.0  # share of shot noise in the variance of the output, β
    step: Figure = 0.0  # by how much one electron moves the output, ε [standard deviations]
    variance: Figure = 1.0  # of the output on the defect, over that on good product

    @property
    def loss(self) -> Figure:
        """Share of a peak that is lost between the places of the bank, on the mean: at most 1/4."""
        return np.minimum(self.slopes / (24 * PHASES**2), _MOST_LOSS)


def bank_of(
    found: Energies,
    hidden: Figure,
    levels_e: tuple[Figure, Figure],
    noise_e: Figure,
    slope: Figure = 1.0,
) -> Bank:
    """
    Work out what the search needs to know.

    The sum of s³, where it is not given, follows from Σs and Σs², as of discs that are blurred
    (fitted, within 3 %).
    """
    third = found.third
    if third is None:
        depth = np.clip(found.samples / found.covered, 0.0, 1.0)
        third = depth * (1 + 0.29 * (1 - depth**3))
    # texture is no matter of electrons: noise makes up its share of the output alone
    (level_e, charge_e), noise_e2 = levels_e, np.square(noise_e)
    shot = np.minimum(np.square(slope) * charge_e / noise_e2, _MOST_SHOT) * found.noise_share
    step = (
        slope
        * third
        / np.sqrt(np.maximum(found.samples, 1e-200))
        / noise_e
        * np.sqrt(found.noise_share)
    )
    # the defect covers the texture too: what is left of it there is darker by as much
    calmer = hidden * level_e / noise_e2 * found.noise_share + hidden * (2 - hidden) * (
        1 - found.noise_share
    )
    variance = 1 - third * calmer
    return Bank(
        looks=found.looks,
        slopes=found.slopes,
        wave_x=found.wave_x,
        wave_y=found.wave_y,
        shot=shot,
        step=step,
        variance=np.maximum(variance, _LEAST_VARIANCE),
    )


def threshold_for(bank: Bank, alarms: Figure) -> FloatArray:
    """Threshold that peaks of noise pass so often a sample."""
    excess = np.log(np.maximum(bank.looks, 1e-300)) - 1.5 * np.log(2 * np.pi) - np.log(alarms)
    # the number of peaks falls from a level of 1 on; Newton's rule comes down from above
    level = np.sqrt(2 * np.maximum(excess, 0.0) + 4)
    for _ in range(_STEPS):
        height = np.square(level) / 2 - np.log(level) - excess
        step = height / np.maximum(level - 1 / level, 1e-3)
        level = np.maximum(level - step, 1.0)
        if (np.abs(step) < _EXACT).all():
            break
    return true_level(bank.shot, bank.step, level * (1 - bank.loss))


def alarms_at(bank: Bank, threshold: Figure) -> FloatArray:
    """Count the peaks of noise that pass a threshold."""
    level = np.maximum(normal_level(bank.shot, bank.step, threshold) / (1 - bank.loss), 1.0)
    return np.asarray(bank.looks * (2 * np.pi) ** -1.5 * level * np.exp(-np.square(level) / 2))


def found_share(bank: Bank, detectability: Figure, threshold: Figure) -> FloatArray:
    """Share of the defects found, on the mean of all places."""
    share, _ = _at_places(bank, _spread_out(bank, detectability), threshold)
    return np.asarray(np.clip(share.mean(axis=0), 0.0, 1.0))


def wanted_dprime(bank: Bank, rate: Figure, threshold: Figure) -> FloatArray:
    """Give the d' at which so large a share passes a threshold: `found_share` turned round."""
    goal = np.asarray(scipy.special.ndtri(rate))
    place = np.asarray(threshold + goal * np.sqrt(bank.variance) + 0.0 * bank.looks)
    parts = _spread_out(bank, np.ones_like(place))
    for _ in range(_STEPS):
        each, up = _at_places(bank, place * parts, threshold)
        share = np.minimum(np.maximum(_mean(each), 1e-12), 1 - 1e-12)
        rise = _mean(up * parts)
        # in units of a normal value the share is all but straight
        seen = scipy.special.ndtri(share)
        slope = np.maximum(rise * np.sqrt(2 * np.pi) * np.exp(np.square(seen) / 2), 0.2)
        step = (goal - seen) / np.minimum(slope, 3.0)
        place = np.maximum(place + np.minimum(np.maximum(step, -1.0), 1.0), 1e-3)
        if (np.abs(step) < _EXACT).all():
            break
    return np.asarray(place)


def threshold_at(bank: Bank, detectability: Figure, rate: Figure) -> FloatArray:
    """Give the highest threshold at which a share of defects of index d' is found."""
    threshold = np.asarray(detectability, dtype=np.float64) + 0.0
    for _ in range(_STEPS):
        # a threshold and the index it asks for rise together, nearly one to one
        before, asked = threshold, wanted_dprime(bank, rate, threshold)
        threshold = np.maximum(before + (detectability - asked), 0.0)
        # what no longer moves will not move again
        if np.array_equal(before, threshold):
            break
    return np.asarray(threshold)


def _spread_out(bank: Bank, detectability: Figure) -> FloatArray:
    """Give d' at places that stand for all, the loss between those of the bank included."""
    waves = [1 + 2 * (x * bank.wave_x + y * bank.wave_y) for x, y in _SIGNS]
    lifted = detectability * np.asarray(1 - bank.loss)
    return np.stack([lifted * np.sqrt(np.maximum(each, 0.0)) for each in waves])


def _mean(places: FloatArray) -> FloatArray:
    """Take the mean over the first axis: numpy's own takes longer to start than to sum up."""
    return np.asarray(np.add.reduce(places, axis=0) / len(places))


def _at_places(bank: Bank, lifted: Figure, threshold: Figure) -> tuple[FloatArray, FloatArray]:
    """Share found at each place, and how it rises with d'."""
    spread = np.sqrt(bank.variance)
    below = (threshold - lifted) / spread
    # far under the threshold nothing is found, far over it all is
    below = np.minimum(np.maximum(below, -30.0), 30.0)
    steep = np.maximum((threshold * spread - below) / np.sqrt(2), -20.0)
    gain = np.exp(-np.square(below) / 2) * scipy.special.erfcx(steep) / 2
    return np.asarray(scipy.special.ndtr(-below) + gain), np.asarray(threshold * gain)
