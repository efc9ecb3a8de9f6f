"""
A fault put into a scan: what it adds or takes, with the noise that belongs to it.

A sample holds s = N + r electrons: N of a Poisson distribution of mean µ, the signal; r of variance
σ², reading, dark current and rounding. With the fault it would hold N' + r', N' of mean µ' = pµ.
The scan gives s alone; µ and µ' come from the forward model at the scan's local level.

* p > 1, light added: s + A, A of a Poisson distribution of mean µ' - µ. Sums of Poisson values are
  Poisson values, so N + A is N' exactly, and r stays.
* p < 1, light taken: s - B + g. Of n = max(round(s), 0) electrons B are lost, binomial with share
  q = 1 - p, and q of what rounding left of s, so that the mean is p s. A Poisson value thinned so
  is N' exactly; of r, p²σ² is left. g is normal with the rest, (1 - p²)σ².

Mean and variance are then those of a scan of the faulted product, µ' + σ². Samples that nothing
is done to keep their number.

Limits: numbers are rounded again, 1/12 DN² more where light is added (where it is taken, g has so
much less). What is added has no streaks of the columns (PRNU) and follows the level, not what is
finer than it; what is taken has both. Samples at full scale are taken as what they show, though the
light was more: a dark fault there comes out too dark. Noise of a whole line is thinned with the
rest. With µ under σ, B is drawn from a count that noise has clipped at nothing: its mean is kept,
its variance is q(1 - q)·(E[n] - µ) too much.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.background.charge import Charge, by_channel, charges
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup

LEAST_E = 0.01
"""A change of less is none: far under the noise of any sample. [e]."""
_ROUNDING_DN2 = 1 / 12


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Expected:
    """What the station expects of the product, of shape (lines, width) or (lines, width, 3)."""

    # without the faults and with them [e]
    good_e: ImageArray
    faulted_e: ImageArray


def inserted(
    setup: Setup, scan_dn: NDArray[np.uint16], expected: Expected, random: np.random.Generator
) -> NDArray[np.uint16]:
    """Put faults into a scan, (lines, width) or with 3 colours; others' numbers stay. [DN]."""
    out = by_channel(scan_dn).copy()
    good_e, faulted_e = (
        by_channel(each).astype(np.float64) for each in (expected.good_e, expected.faulted_e)
    )
    full_dn = setup.full_scale_dn
    for k, charge in enumerate(charges(setup)):
        level = good_e[:, :, k], faulted_e[:, :, k]
        touched = np.abs(level[1] - level[0]) > LEAST_E
        before = out[touched, k].astype(np.float64)
        gain = np.broadcast_to(charge.gain_dn_e, touched.shape)[touched]
        signal_e = (before - charge.black_dn) / gain
        change_e = _change_e(signal_e, (level[0][touched], level[1][touched]), charge, gain, random)
        after = np.floor(before + gain * change_e + 0.5)
        out[touched, k] = np.clip(after, 0, full_dn).astype(np.uint16)
    return np.asarray(out.reshape(scan_dn.shape))


def _change_e(
    signal_e: FloatArray,
    level_e: tuple[FloatArray, FloatArray],
    charge: Charge,
    gain_dn_e: FloatArray,
    random: np.random.Generator,
) -> FloatArray:
    """Draw what samples gain or lose. [e]."""
    good_e, faulted_e = level_e
    more_e = np.maximum(faulted_e - good_e, 0.0)
    lost = np.where(good_e > 0, 1 - np.minimum(faulted_e / np.maximum(good_e, LEAST_E), 1), 0.0)
    counted = np.maximum(np.rint(signal_e), 0)
    taken_e = random.binomial(counted.astype(np.int64), lost) + lost * (signal_e - counted)
    rest_e2 = (1 - (1 - lost) ** 2) * charge.dark_e2 - _ROUNDING_DN2 / gain_dn_e**2
    spread_e = np.sqrt(np.maximum(np.where(lost > 0, rest_e2, 0.0), 0.0))
    added_e = random.poisson(more_e)
    return np.asarray(added_e - taken_e + spread_e * random.standard_normal(len(signal_e)))
