"""
Detail along travel against detail across, in images of anything.

The power of fine detail is read in two narrow wedges of the spectrum, about the axis along travel
and about the one across, and noise is taken off. Where the target has no direction of its own and
the lens none either, the ratio of the two amplitudes is what is blurred along travel alone: a
motion blur of b pixels gives |sinc(b f)|.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from linesim.metrics.flat.area import Samples
from linesim.metrics.flat.noise import Estimate
from linesim.setup.arrays import FloatArray

SIDES = (128, 64)
"""Sides of the squares that the image is cut into; the larger one where two of it find room."""
BAND_CYC_PX = (0.2, 0.4)
"""Frequencies that the one figure of sharpness is made of. [cycles/px]"""
_LOWEST_CYC_PX = 0.125
_WEDGE_TANGENT = float(np.tan(np.radians(15)))
_MOST_SQUARES = 512
_FEWEST_SQUARES = 4
_SIGMA = 3.0
# With a longer motion most of the band lies past the sinc's first zero.
_LONGEST_PX = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Directional:
    """Power of detail by direction."""

    # shape (n,); from an eighth to nearly half a cycle a pixel [cycles/px]
    frequency_cyc_px: FloatArray
    # shape (n,); power in the wedges, noise and all, on a scale on which white noise has its
    # variance [DN²]
    along_dn2: FloatArray
    across_dn2: FloatArray
    noise_dn2: float  # power of the noise that was taken off [DN²]
    # amplitude along over amplitude across between 0.2 and 0.4 cycles/px, noise taken off; None
    # where detail has less power there than noise, or there are under four squares
    ratio: Estimate | None
    # motion blur that would make that difference; None where detail along is not less, or hardly
    # any is left (over 4 px) [px]
    blur_px: Estimate | None
    # frequency up to which detail is above the noise, across and along; 0: nowhere [cycles/px]
    detail_x_cyc_px: float
    detail_y_cyc_px: float


def directional(image_dn: Samples, noise_dn: float) -> Directional:
    """
    Compare detail along travel with detail across.

    P. D. Welch, The use of fast Fourier transform for the estimation of power spectra, IEEE Trans.
    Audio Electroacoust. 15 (1967), 70 (from memory): mean over half-overlapping windowed pieces.
    """
    if min(image_dn.shape) < SIDES[-1]:
        msg = f"an image of shape {image_dn.shape}, but {SIDES[-1]} samples each way are needed"
        raise ValueError(msg)
    side = next((each for each in SIDES if min(image_dn.shape) >= 2 * each), SIDES[-1])
    pairs = np.array([_wedges(piece) for piece in _pieces(image_dn, side)])
    frequency = _orders(side) / side
    along, across = pairs.mean(axis=0)
    floor = noise_dn**2
    ratio = _ratio(pairs - floor, frequency, floor)
    return Directional(
        frequency_cyc_px=frequency,
        along_dn2=along,
        across_dn2=across,
        noise_dn2=floor,
        ratio=ratio,
        blur_px=None if ratio is None else _blur(across - floor, frequency, ratio),
        detail_x_cyc_px=_detail(across, floor, frequency),
        detail_y_cyc_px=_detail(along, floor, frequency),
    )


def _pieces(image_dn: Samples, side: int) -> list[Samples]:
    """Cut half-overlapping squares, evenly chosen where there are very many."""
    lines, columns = image_dn.shape
    places = [
        (y, x)
        for y in range(0, lines - side + 1, side // 2)
        for x in range(0, columns - side + 1, side // 2)
    ]
    step = -(-len(places) // _MOST_SQUARES)
    return [image_dn[y : y + side, x : x + side] for y, x in places[::step]]


def _orders(side: int) -> FloatArray:
    return np.arange(int(np.ceil(_LOWEST_CYC_PX * side)), side // 2, dtype=np.float64)


def _wedges(piece: Samples) -> tuple[FloatArray, FloatArray]:
    """
    Give the power about the axis along travel and about the one across, by order.

    A periodic Hann window spreads columns that differ, or lines, over the orders -1 to 1 of the
    other axis; these are left out.
    """
    side = len(piece)
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(side) / side)
    window = np.outer(hann, hann)
    values = piece.astype(np.float64)
    power = np.abs(np.fft.fft2((values - values.mean()) * window)) ** 2 / (window**2).sum()
    order = np.minimum(np.arange(side), side - np.arange(side))
    narrow = (order >= 2) & (order <= _WEDGE_TANGENT * _orders(side)[:, None])  # noqa: PLR2004 -- see above
    weights = narrow / narrow.sum(axis=1, keepdims=True)
    rows = _orders(side).astype(np.intp)
    return (power[rows] * weights).sum(axis=1), (power[:, rows].T * weights).sum(axis=1)


def _ratio(pairs: FloatArray, frequency: FloatArray, floor: float) -> Estimate | None:
    """Give the root of the ratio of two sums, with the scatter between squares for its error."""
    band = (frequency >= BAND_CYC_PX[0]) & (frequency <= BAND_CYC_PX[1])
    along, across = pairs[:, :, band].sum(axis=2).T
    if len(along) < _FEWEST_SQUARES:
        return None
    scatter = max(along.std(ddof=1), across.std(ddof=1)) / np.sqrt(len(along))
    if min(along.mean(), across.mean()) <= max(floor * band.sum(), _SIGMA * scatter):
        return None
    square = float(along.mean() / across.mean())
    left = along - square * across
    error = float(left.std(ddof=1) / np.sqrt(left.size) / across.mean())
    return Estimate(value=square, sd=error).root()


def _blur(across: FloatArray, frequency: FloatArray, ratio: Estimate) -> Estimate | None:
    """Find the length of the motion that takes as much of the band's power."""
    if not ratio.value < 1 - ratio.sd:
        return None
    band = (frequency >= BAND_CYC_PX[0]) & (frequency <= BAND_CYC_PX[1])
    weights = across[band] / across[band].sum()

    def taken(length: float, wanted: float) -> float:
        return float(np.sqrt((weights * np.sinc(length * frequency[band]) ** 2).sum())) - wanted

    if taken(_LONGEST_PX, ratio.value) > 0:
        return None
    length, short = (
        float(brentq(taken, 0.0, _LONGEST_PX, args=(min(wanted, 1.0),)))
        for wanted in (ratio.value, ratio.value + ratio.sd)
    )
    return Estimate(value=length, sd=length - short)


def _detail(power: FloatArray, floor: float, frequency: FloatArray) -> float:
    """Find how far detail has more power than the noise, from the lowest frequency on."""
    above = power - floor > floor
    if above.all():
        return float(frequency[-1])
    first = int(np.argmin(above))
    return float(frequency[first - 1]) if first else 0.0
