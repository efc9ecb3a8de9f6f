"""Photon transfer: a camera's gain, dark noise and fixed pattern from a series of frames."""

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.setup.arrays import FloatArray

FITTED = 0.7
"""Share of saturation up to which gain and responsivity are fitted."""
_ROUNDING_DN2 = Estimate(value=1 / 12, sd=0.0)
LEAST_VARIANCE_DN2, LEAST_NOISE_DN = 0.24, 0.49
"""Below which rounding hides the noise, and what it counts as then."""


def photon_transfer(
    mean_dn: FloatArray, temporal_dn2: FloatArray, *, saturation_dn: float, samples: int
) -> Estimate:
    """
    Find the system gain K from mean and temporal variance at stepped exposures.

    K is the slope of σ_y² − σ_y.dark² over μ_y − μ_y.dark, a least-squares line through 0 over 0 to
    70 % of saturation. (The standard's text leaves the offset free; evaluations in use do not.)
    EMVA 1288 R4.0 RC (March 2021), (15), (19), (49), (50), section 6.6.
    """
    signal, variance = mean_dn[1:] - mean_dn[0], temporal_dn2[1:] - temporal_dn2[0]
    used = (signal > 0) & (signal <= FITTED * saturation_dn)
    if not used.any():
        msg = f"no step lies between dark and {FITTED:.0%} of {saturation_dn:g} DN"
        raise ValueError(msg)
    x, y = signal[used], variance[used]
    gain = float((x @ y) / (x @ x))
    # a step errs by its variance and, along the line, by its mean; the dark one shifts them all
    error2 = (2 * temporal_dn2**2 + gain**2 * temporal_dn2) / samples
    steps = error2[1:][used]
    return Estimate(
        value=gain, sd=float(np.sqrt(x**2 @ steps + x.sum() ** 2 * error2[0]) / (x @ x))
    )


def responsivity(mean_dn: FloatArray, photons: FloatArray, *, saturation_dn: float) -> float:
    """
    Find the responsivity R = Kη, a least-squares line through 0 over 0 to 70 % of saturation.

    EMVA 1288 R4.0 RC (March 2021), (49).
    """
    signal = mean_dn - mean_dn[0]
    used = signal <= FITTED * saturation_dn
    return float((photons[used] @ signal[used]) / (photons[used] @ photons[used]))


def dark_noise(dark_dn2: Estimate, gain_dn_e: Estimate) -> Estimate:
    """
    Find the dark noise σ_d from the temporal variance in the dark.

    Below 0.24 DN² rounding hides it: σ_y.dark then counts as 0.49 DN, and σ_d, 0.40/K, is an upper
    limit. EMVA 1288 R4.0 RC (March 2021), (53), (54), C.4.
    """
    seen = dark_dn2
    if dark_dn2.value < LEAST_VARIANCE_DN2:
        seen = Estimate(value=LEAST_NOISE_DN**2, sd=dark_dn2.sd)
    return seen.less(_ROUNDING_DN2).root().over(gain_dn_e)
