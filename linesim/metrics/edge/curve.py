"""From an edge spread to its figures and its frequency response (ISO 12233:2014, 6.2.5)."""

import numpy as np

from linesim.metrics.edge.line import MIN_HALF_WIDTH_PX, tukey
from linesim.metrics.edge.spread import EdgeSpread, box_spline
from linesim.setup.arrays import FloatArray

# Share of each half of the window that falls off as a cosine; the middle three quarters are flat.
TAPER = 0.25
# Step of the frequency axis [cycles/px].
FREQUENCY_STEP_CYC_PX = 0.005
# Points a bin at which the spread is read between bins.
FINE_PER_BIN = 16
# A wider window is kept where it costs no more than this in the response.
EVEN = 1e-4


def rise_px(spread: EdgeSpread, *, undo_bin_width: bool) -> float:
    """Distance from 10 % to 90 % of the step."""
    dark, bright = spread.levels
    shares = (spread.value - dark) / (bright - dark)
    rise = rises_px(shares[None], spread.bins_per_pixel, undo_bin_width=undo_bin_width)
    return float(rise[0])


def rises_px(shares: FloatArray, bins_per_pixel: int, *, undo_bin_width: bool) -> FloatArray:
    """Read the distance from 10 % to 90 % off several edges."""
    curve = box_spline(shares.T)
    place = np.arange(0.5, shares.shape[1] - 0.5, 1.0 / FINE_PER_BIN)
    if undo_bin_width:
        values = curve(place)
    else:
        running = curve.antiderivative()
        values = running(place + 0.5) - running(place - 0.5)
    return np.array([_rise(each) for each in values.T]) / (FINE_PER_BIN * bins_per_pixel)


def _rise(share: FloatArray) -> float:
    """Count the samples between the crossings of 10 % and 90 %."""
    middle = int(np.argmin(np.abs(share - 0.5)))
    return _outward(0.5 - share[middle::-1], 0.4) + _outward(share[middle:] - 0.5, 0.4)


def _outward(excess: FloatArray, level: float) -> float:
    """First place, in samples, at which a curve that starts near 0 reaches a level."""
    i = max(1, int(np.argmax(excess >= level)))
    return i - float((excess[i] - level) / (excess[i] - excess[i - 1]))


def overshoot(spread: EdgeSpread) -> float:
    """Largest excess over the bright or under the dark level, as a share of the step."""
    dark, bright = spread.levels
    excess = max(float(spread.value.max()) - bright, dark - float(spread.value.min()))
    return excess / spread.step if excess > 4.0 * spread.bin_noise else 0.0


def choose_half_width(spread: EdgeSpread, rise_10_90_px: float) -> float:
    """
    Choose the window: the widest that noise allows.

    A window of half-width X loses the line spread beyond X, which lifts the curve by the share t(X)
    of the step that lies there; and it takes in noise (`mtf_noise`). The X with the least
    t² + noise² is taken, a wider one where it costs no more than 0.0001 in the curve. Without noise
    that is all there is.
    """
    widest = spread.half_width_px
    narrowest = min(widest, max(MIN_HALF_WIDTH_PX, 2.0 * rise_10_90_px / (1.0 - TAPER)))
    steps = int(2.0 * np.log2(widest / narrowest))
    choices = widest * 2.0 ** (-0.5 * np.arange(steps + 1))
    cost = np.array([_lost(spread, x) + mtf_noise(spread, x) ** 2 for x in choices])
    return float(choices[np.argmax(cost <= cost.min() + EVEN**2)])


def _lost(spread: EdgeSpread, half_width_px: float) -> float:
    """Square of the share of the step beyond a half-width, less what noise adds to it."""
    if half_width_px >= spread.half_width_px:
        return 0.0
    reach = np.abs(spread.position_px)
    # The window falls off in its outer part: what it loses begins at the middle of the fall.
    start = (1.0 - 0.5 * TAPER) * half_width_px
    ring = (reach >= start) & (reach < min(1.5 * start, spread.half_width_px))
    side = np.sign(spread.position_px[ring])
    share = 2.0 * float(np.mean(side * spread.value[ring])) / spread.step
    doubt = 4.0 * (spread.bin_noise / spread.step) ** 2 / side.size
    return float(max((1.0 - share) ** 2 - doubt, 0.0))


def mtf_noise(spread: EdgeSpread, half_width_px: float) -> float:
    """
    Estimate the standard deviation of the response at f = 0.25 cycles/px.

    White noise of the bins, differentiated, windowed and brought to the step as unit, has
    2πf·w·√(Σ window²/2)·(bin noise/step) in phase with the response; w is the width of a bin and
    the mean of window² over a Tukey window with taper a is 1 − 5a/8.
    """
    bins = spread.bins_per_pixel
    power = 2.0 * half_width_px * bins * (1.0 - 0.625 * TAPER)
    return float(2.0 * np.pi * 0.25 / bins * np.sqrt(0.5 * power) * spread.bin_noise / spread.step)


def line_response(
    values: FloatArray, spread: EdgeSpread, half_width_px: float, *, undo_bin_width: bool
) -> FloatArray:
    """Differentiate, window and transform one edge spread or several, in the image's units."""
    bins = spread.bins_per_pixel
    frequency = frequency_axis(bins)
    line = 0.5 * (values[..., 2:] - values[..., :-2])
    inside = np.abs(spread.position_px[1:-1]) < half_width_px
    position = spread.position_px[1:-1][inside]
    line = line[..., inside] * tukey(position / half_width_px, taper=TAPER)
    wave = np.exp(-2j * np.pi * frequency[:, None] * position)
    response = np.abs(line @ wave.T)
    # The derivative [-1/2 0 1/2] lets through sin(2πfw)/(2πfw), w the width of a bin.
    response /= np.sinc(2.0 * frequency / bins)
    return np.asarray(response / np.sinc(frequency / bins) if undo_bin_width else response)


def frequency_axis(bins_per_pixel: int) -> FloatArray:
    """Give the frequencies of a response."""
    steps = round(bins_per_pixel / 4 / FREQUENCY_STEP_CYC_PX)
    return np.asarray(np.arange(steps + 1, dtype=float) * FREQUENCY_STEP_CYC_PX)


def frequency_response(
    spread: EdgeSpread, half_width_px: float, *, undo_bin_width: bool
) -> tuple[FloatArray, FloatArray]:
    """
    Give the response of an edge spread.

    The step between the outer levels, not the sum of the windowed line spread, is what the response
    is a share of: a tail that the window cuts off is smooth, and so its loss touches frequencies
    below 1/(2 half_width_px) alone.
    """
    response = line_response(spread.value, spread, half_width_px, undo_bin_width=undo_bin_width)
    response /= spread.step
    response[0] = 1.0
    return frequency_axis(spread.bins_per_pixel), response


def first_crossing(frequency: FloatArray, mtf: FloatArray, level: float) -> float | None:
    """
    Find the lowest frequency at which a response falls to a level.

    There is none where it never falls so low, or begins there.

    Parameters
    ----------
    frequency : ndarray of shape (n,); rising, in any unit
    mtf : ndarray of shape (n,); response there
    """
    below = np.flatnonzero(mtf <= level)
    if not below.size or below[0] == 0:
        return None
    i = int(below[0])
    part = (mtf[i - 1] - level) / (mtf[i - 1] - mtf[i])
    return float(frequency[i - 1] + part * (frequency[i] - frequency[i - 1]))
