"""Waves in the means of lines, as lamps make them along travel, or in those of columns."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar

from linesim.metrics.flat.area import trend
from linesim.metrics.flat.noise import FEWEST_LINES, Estimate
from linesim.setup.arrays import FloatArray

_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Banding:
    """The strongest wave in the means of lines."""

    frequency_cyc_line: float  # of the wave; one above 0.5 shows folded back [cycles/line]
    amplitude_dn: Estimate  # half of its peak to peak [DN]
    chance: float  # probability that lines without any wave show one as strong as this
    spectrum_cyc_line: FloatArray  # shape (n,); frequencies without 0 [cycles/line]
    spectrum_dn: FloatArray  # shape (n,); amplitude at each [DN]


def banding(by_line_dn: FloatArray, fewest: int = 1) -> Banding:
    """
    Find the strongest wave in the means of lines, their parabola taken off.

    Slower waves than of so many cycles are left out: what is smooth is a drift, or a fall-off. R.
    A. Fisher, Tests of significance in harmonic analysis, Proc. R. Soc. A 125 (1929), first term of
    the series (from memory).
    """
    count = by_line_dn.size
    if count < FEWEST_LINES:
        msg = f"{count} lines, but at least {FEWEST_LINES} are needed"
        raise ValueError(msg)
    rest = by_line_dn - trend(by_line_dn)
    whole = (count - 1) // 2
    seen = np.abs(np.fft.rfft(rest)[1 : whole + 1]) ** 2
    power = seen[fewest - 1 :]
    strongest = int(np.argmax(power)) + fewest
    frequency = _refined(rest, strongest)
    amplitude, left = _wave(rest, frequency)
    is_still = rest.std() <= _ROUNDING * np.abs(by_line_dn).max()
    share = 0.0 if is_still else float(power.max() / power.sum())
    scatter = np.sqrt(2 / count * float((left**2).sum()) / max(count - 6, 1))
    return Banding(
        frequency_cyc_line=frequency,
        amplitude_dn=Estimate(value=amplitude, sd=float(scatter)),
        chance=min(1.0, power.size * (1 - share) ** (power.size - 1)),
        spectrum_cyc_line=np.arange(1, whole + 1) / count,
        spectrum_dn=2 * np.sqrt(seen) / count,
    )


def _refined(rest_dn: FloatArray, strongest: int) -> float:
    """Find the best frequency beside the strongest ordinate."""
    count = rest_dn.size
    found = minimize_scalar(
        lambda frequency: float((_wave(rest_dn, frequency)[1] ** 2).sum()),
        bounds=((strongest - 1 + 1e-3) / count, min((strongest + 1) / count, 0.5)),
        method="bounded",
        options={"xatol": 1e-4 / count},
    )
    return float(found.x)


def _wave(rest_dn: FloatArray, frequency_cyc_line: float) -> tuple[float, FloatArray]:
    """Fit a wave beside a parabola; give its amplitude and what is left."""
    turn = 2 * np.pi * frequency_cyc_line * np.arange(rest_dn.size)
    place = np.linspace(-1, 1, rest_dn.size)
    terms = np.stack((np.cos(turn), np.sin(turn), np.ones_like(place), place, place**2), axis=1)
    weights = np.linalg.lstsq(terms, rest_dn, rcond=None)[0]
    return float(np.hypot(weights[0], weights[1])), rest_dn - terms @ weights
