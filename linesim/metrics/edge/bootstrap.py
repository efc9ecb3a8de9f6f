"""
How far the figures of a slanted edge can be trusted: a bootstrap over blocks of rows.

Each row crosses the edge once. Rows are grouped into blocks over which the edge moves on by about a
pixel, so that every block by itself holds all phases of the edge, and a column's own gain, which
neighbouring rows share, stays within a block. Blocks are drawn with replacement, as many as there
are; what each adds to the bins is what its pixels differ by from the curve that all rows gave. The
scatter over many draws is the standard deviation. Ten blocks at least are made, of less than a
pixel where the edge is that short.

What differs in every row and every block alike is no scatter: uneven light, a bent edge, an image
that is not linear in light. Nor is the target's own sharpness.

References
----------
B. Efron, "Bootstrap methods: another look at the jackknife", Annals of Statistics 7, 1-26 (1979).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.edge.curve import first_crossing, line_response, rises_px
from linesim.metrics.edge.figures import EdgeResponse
from linesim.metrics.edge.spread import EdgeSpread, box_spline
from linesim.setup.arrays import FloatArray

RESAMPLINGS = 300
"""Draws; a standard deviation of 300 values is itself known to 4 %."""
FEWEST_BLOCKS = 10
_HALF, _TENTH = 0.5, 0.1
# A crossing that more draws than this do not reach has no standard deviation.
_MISSED_SHARE = 0.02
# The rise is read off this part about the edge; the curve there does not feel what lies beyond.
_RISE_PX, _RISES = 6.0, 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeUncertainty:
    """Standard deviations of the figures of the same name in `EdgeResponse`."""

    # of the crossings; None where there is none, or noise may hide it [cycles/px]
    mtf50_cyc_px: float | None
    mtf10_cyc_px: float | None
    mtf_nyquist: float  # of the response at half a cycle a pixel
    rise_10_90_px: float
    mtf: FloatArray  # shape (n,); of the curve, at its frequencies
    # blocks of rows, and draws of them
    blocks: int
    resamplings: int


def edge_uncertainty(
    image: NDArray[np.generic],
    response: EdgeResponse,
    *,
    seed: int = 0,
    undo_bin_width: bool = True,
    resamplings: int = RESAMPLINGS,
) -> EdgeUncertainty:
    """
    Tell how the figures of an edge scatter when the rows of its image are drawn anew.

    The edge's line and the window are kept as they are: what the noise does to the line moves the
    figures by its square only.

    Parameters
    ----------
    image : ndarray of shape (lines, width); the image that was measured
    """
    spread = _spread(response)
    values, blocks = _redrawn(image, response, spread, np.random.default_rng(seed), resamplings)
    window = response.half_width_px
    outer = max(1, spread.value.size // 8)
    dark = values[:, :outer].mean(axis=1, keepdims=True)
    shares = (values - dark) / (values[:, -outer:].mean(axis=1, keepdims=True) - dark)
    mtf = line_response(shares, spread, window, undo_bin_width=undo_bin_width)
    mtf[:, 0] = 1.0
    nyquist = [float(np.interp(0.5, response.frequency_cyc_px, each)) for each in mtf]
    near = np.abs(spread.position_px) <= max(_RISE_PX, _RISES * response.rise_10_90_px)
    rises = rises_px(shares[:, near], spread.bins_per_pixel, undo_bin_width=undo_bin_width)
    return EdgeUncertainty(
        mtf50_cyc_px=_crossing_sd(response, mtf, _HALF),
        mtf10_cyc_px=_crossing_sd(response, mtf, _TENTH),
        mtf_nyquist=float(np.std(nyquist, ddof=1)),
        rise_10_90_px=float(np.std(rises, ddof=1)),
        mtf=mtf.std(axis=0, ddof=1),
        blocks=blocks,
        resamplings=resamplings,
    )


def _spread(response: EdgeResponse) -> EdgeSpread:
    """Bring back the spread, in shares of the step."""
    return EdgeSpread(
        position_px=response.position_px,
        value=response.edge_spread,
        bins_per_pixel=round(1.0 / float(response.position_px[1] - response.position_px[0])),
        bin_noise=0.0,
        noise=0.0,
    )


def _redrawn(
    image: NDArray[np.generic],
    response: EdgeResponse,
    spread: EdgeSpread,
    random: np.random.Generator,
    resamplings: int,
) -> tuple[FloatArray, int]:
    """Draw blocks of rows with replacement; give the bins' means of each draw, and the blocks."""
    rest, count = _rest_by_block(image, response, spread)
    blocks = len(rest)
    drawn = random.multinomial(blocks, np.full(blocks, 1.0 / blocks), size=resamplings)
    # n blocks about their own mean scatter by (n-1)/n too little
    scale = float(np.sqrt(blocks / (blocks - 1.0)))
    held = drawn @ count
    return spread.value + scale * (drawn @ rest) / np.maximum(held, 1.0), blocks


def _rest_by_block(
    image: NDArray[np.generic], response: EdgeResponse, spread: EdgeSpread
) -> tuple[FloatArray, FloatArray]:
    """Add up what pixels differ by from the curve, and count them, by block and bin."""
    line, bins = response.line, spread.value.size
    view = image if response.direction == "across" else image.T
    values = view[line.first_row : line.last_row].astype(np.float64)
    dark, bright = response.levels
    rows = np.arange(line.first_row, line.last_row, dtype=float)
    middle = line.columns(rows)
    rising = _rises(values, middle)
    cosine = float(np.cos(np.radians(response.angle_deg)))
    distance = rising * cosine * (np.arange(float(view.shape[1])) - middle[:, None])
    place = distance * spread.bins_per_pixel + 0.5 * bins
    inside = (place >= 0) & (place < bins)
    share = (values[inside] - dark) / (bright - dark)
    rest = share - box_spline(spread.value)(place[inside])
    shift = abs(line.slope) * line.rows
    blocks = min(line.rows, max(FEWEST_BLOCKS, round(shift)))
    block = np.broadcast_to((np.arange(line.rows) * blocks // line.rows)[:, None], place.shape)
    index = block[inside] * bins + place[inside].astype(np.int64)
    total = np.bincount(index, rest, blocks * bins)
    count = np.bincount(index, minlength=blocks * bins)
    return (
        total.astype(np.float64).reshape(blocks, bins),
        count.astype(np.float64).reshape(blocks, bins),
    )


def _rises(values: FloatArray, middle: FloatArray) -> float:
    """1 where the image is bright behind the edge, -1 where it is before it."""
    behind = np.arange(values.shape[1]) > middle[:, None]
    return 1.0 if values[behind].mean() >= values[~behind].mean() else -1.0


def _crossing_sd(response: EdgeResponse, curves: FloatArray, level: float) -> float | None:
    """Scatter of a crossing; None where too many curves have none."""
    found = [first_crossing(response.frequency_cyc_px, curve, level) for curve in curves]
    known = [each for each in found if each is not None]
    if len(known) < (1.0 - _MISSED_SHARE) * len(found):
        return None
    return float(np.std(known, ddof=1))
