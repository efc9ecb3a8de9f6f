"""How far a camera's response is from a straight line, by EMVA 1288."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.camera.series import Series
from linesim.metrics.interval import SIDE_SD, Interval, carried
from linesim.setup.arrays import FloatArray

LINEAR_RANGE = (0.05, 0.95)
"""Of saturation, within which the line is fitted."""
FEWEST_STEPS = 3
_HALF_NORMAL = np.sqrt(2 / np.pi)
"""Mean of |x| of a normal x with standard deviation 1."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Linearity:
    """Deviations from the straight line."""

    steps: NDArray[np.intp]  # shape (n,); steps of the series that the line was fitted to
    # shape (n,); of the signal there, as shares of the line, and their standard errors
    deviation: FloatArray
    deviation_sd: FloatArray
    # the line's value in the dark and its slope per unit of light [DN]
    offset_dn: float
    slope_dn: float
    # Mean of the deviations' sizes. Noise alone makes it larger than nothing; the lower end has
    # that taken off.
    linearity_error: Interval

    @property
    def lowest_deviation(self) -> float:
        """Furthest below the line, share of it."""
        return float(self.deviation.min())

    @property
    def highest_deviation(self) -> float:
        """Furthest above the line, share of it."""
        return float(self.deviation.max())


def linearity(series: Series, saturation_dn: float) -> Linearity | None:
    """
    Fit a line to the signal over 5 to 95 % of saturation and read how far the steps lie off.

    The line makes the squares of the relative deviations least, so that dim steps count as much as
    bright ones. Of fewer than three steps in the range there is none. EMVA 1288 R4.0 RC (March
    2021), (58), section 6.9.
    """
    low, high = LINEAR_RANGE
    signal_dn = series.signal_dn
    used = (signal_dn >= low * saturation_dn) & (signal_dn <= high * saturation_dn)
    steps = np.flatnonzero(used)
    if steps.size < FEWEST_STEPS:
        return None
    deviation = _deviation(series, steps)
    errors = carried(
        lambda values: _deviation(series.having(values), steps), series.values(), series.sds()
    )
    slope_dn, offset_dn = _line(series, steps)
    sd = np.sqrt((errors**2).sum(axis=1))
    return Linearity(
        steps=steps,
        deviation=deviation,
        deviation_sd=sd,
        offset_dn=float(offset_dn),
        slope_dn=float(slope_dn),
        linearity_error=_mean_size(deviation, sd, errors),
    )


def _line(series: Series, steps: NDArray[np.intp]) -> FloatArray:
    signal_dn = series.signal_dn[steps]
    return np.asarray(np.polyfit(series.light[steps], signal_dn, 1, w=1 / signal_dn))


def _deviation(series: Series, steps: NDArray[np.intp]) -> FloatArray:
    line_dn = np.polyval(_line(series, steps), series.light[steps])
    return np.asarray(series.signal_dn[steps] / line_dn - 1)


def _mean_size(deviation: FloatArray, sd: FloatArray, errors: FloatArray) -> Interval:
    """Average sizes; noise of a perfect camera leaves 0.8 sd, which the lower end is freed from."""
    value = float(np.abs(deviation).mean())
    spread = float(np.sqrt((((np.sign(deviation) @ errors) / deviation.size) ** 2).sum()))
    floor = float(_HALF_NORMAL * sd.mean())
    return Interval(
        value=value, low=max(0.0, value - floor - SIDE_SD * spread), high=value + SIDE_SD * spread
    )
