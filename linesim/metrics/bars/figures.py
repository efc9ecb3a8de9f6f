"""
Contrast of a group of three bars, seen as a profile across it.

What is measured is the response at the bars' own frequency f = 1/(2w), w the width of a bar, and at
its odd multiples: the Fourier sum over the group and one bar's width of ground on both sides, over
the plain sum. Blur cannot change the plain sum, and sharp bars have 2/(πn) of it at nf, so the
response is nπ/2 times the quotient. Neither the black level nor the depth of the bars need be
known. It tells the response at nf alone: the spectrum of three bars is wide, but a sum at one
frequency sees no other.

The contrast between the middles of bars and spaces is what Coltman's series makes of the response,
C(f) = 4/π (M(f) − M(3f)/3 + M(5f)/5 − …). Samples hold no harmonics above half a cycle a pixel that
could be told from lower ones. They are taken as sinc(f) exp(−a f^1.5), a pixel and a blur between
that of a diffracting lens (f¹) and of a Gaussian (f²), with the a that fits the highest one
measured. Where M(3f) matters, for bars of 1.3 to 4 px of a sharp image, this leaves the contrast
uncertain by up to 0.05; the response at f is measured as it is.

What samples fold back from 1 − f adds or takes the share P(1−f) M(1−f) / (P(f) M(f)), P the
spectrum of three bars: one third of M(3/4)/M(1/4) where bars are 2 px wide, nothing where they are
1.5 px, 16 % of M(0.6)/M(0.4), 35 % at 0.45. Above 0.4 cycles/px the figures depend on how the bars
happen to lie on the pixels.

References
----------
J. W. Coltman, "The specification of imaging properties by response to a sine wave input", J. Opt.
Soc. Am. 44, 468-471 (1954); the series from memory.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.setup.arrays import FloatArray

BARS = 3
RESOLVED_CYC_PX = 0.4
"""Above it the figures depend on how bars lie on pixels; our choice."""
_MARGIN = 1.0  # ground on both sides, in bar widths
_CERTAIN = 5.0  # standard deviations from which on the bars themselves say where they lie
_BLUR_POWER = 1.5
_TERMS = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class BarFigures:
    """What a profile across three bars shows."""

    # between the middles of bars and spaces of an endless wave, 1 for sharp bars
    contrast: Estimate
    mtf: Estimate  # response at the bars' frequency
    # what the bars take away from the ground, negative for bars that are lighter, in the profile's
    # unit
    depth: float
    centre_px: float  # middle of the middle bar; the first pixel reaches from 0 to 1 [px]


def bar_figures(
    profile: FloatArray, *, centre_px: float, bar_px: float, noise: float, offset: float = 0.0
) -> BarFigures | None:
    """
    Measure three bars of known width; nothing where they do not stand out of the noise.

    Parameters
    ----------
    profile : ndarray of shape (pixels,); ground less image, averaged along the bars
    centre_px : float
        About where the middle of the middle bar lies; the bars themselves correct it by up to half
        a bar where they stand out of the noise. [px]
    noise : float; standard deviation of one value of the profile
    offset : float; standard deviation that all values of the profile share
    """
    centre_px += _shift_px(profile, centre_px, bar_px, noise)
    place = np.arange(float(profile.size)) + 0.5 - centre_px
    inside = _inside(place, bar_px)
    total = float(inside @ profile)
    if not abs(total) > _CERTAIN * noise * float(np.sqrt(inside @ inside)):
        return None
    order = _orders(0.5 / bar_px)
    weights = _weights(order, place / bar_px) * inside
    mtf = (weights @ profile) / total
    share = _coltman_shares(mtf, order, 0.5 / bar_px)
    contrast = _series(mtf, order, 0.5 / bar_px)
    # a quotient of two sums over the same noisy values
    doubt = np.stack([weights[0] - mtf[0] * inside, share @ (weights - mtf[:, None] * inside)])
    sd = np.hypot(noise * np.sqrt(np.sum(doubt**2, axis=1)), offset * doubt.sum(axis=1)) / abs(
        total
    )
    return BarFigures(
        contrast=Estimate(value=contrast, sd=float(sd[1])),
        mtf=Estimate(value=float(mtf[0]), sd=float(sd[0])),
        depth=total / (BARS * bar_px),
        centre_px=centre_px,
    )


def _orders(frequency_cyc_px: float) -> FloatArray:
    """Odd multiples of a frequency that samples resolve, the first one in any case."""
    last = max(1, int(RESOLVED_CYC_PX / frequency_cyc_px))
    return np.arange(1.0, last + 1, 2)


def _weights(order: FloatArray, place: FloatArray) -> FloatArray:
    """Give the weights, one row an order, whose sum over the plain sum is the response."""
    sign = np.where(order % 4 == 1, 1.0, -1.0)
    return np.asarray(
        (0.5 * np.pi * sign * order)[:, None] * np.cos(np.pi * np.outer(order, place))
    )


def _inside(place: FloatArray, bar_px: float) -> FloatArray:
    """Share of each pixel that lies on the group or on the ground about it."""
    half = (BARS - 0.5 + _MARGIN) * bar_px
    return np.clip(half + 0.5 - np.abs(place), 0.0, 1.0)


def _shift_px(profile: FloatArray, centre_px: float, bar_px: float, noise: float) -> float:
    """How far the bars lie from where they are thought to be, by the phase of their wave."""
    place = np.arange(float(profile.size)) + 0.5 - centre_px
    inside = _inside(place, bar_px)
    wave = complex((inside * profile) @ np.exp(-1j * np.pi * place / bar_px))
    doubt = noise * float(np.sqrt(0.5 * (inside @ inside)))
    sign = 1.0 if float(inside @ profile) >= 0 else -1.0
    shift = -float(np.angle(sign * wave)) * bar_px / np.pi
    return shift if abs(wave) > _CERTAIN * doubt and abs(shift) <= 0.5 * bar_px else 0.0


def _series(mtf: FloatArray, order: FloatArray, frequency_cyc_px: float) -> float:
    """Coltman's series of the responses measured, gone on with by a pixel and a blur."""
    last, pixel = float(order[-1]), float(np.sinc(order[-1] * frequency_cyc_px))
    share = min(max(float(mtf[-1]) / pixel, 0.0), 1.0)

    def response(frequency: FloatArray) -> FloatArray:
        times = frequency / frequency_cyc_px
        model = np.sinc(frequency) * share ** ((times / last) ** _BLUR_POWER)
        known = np.interp(times, order, mtf)
        return np.asarray(np.where(times < last + 0.5, known, model))

    return float(coltman(response, np.array([frequency_cyc_px]))[0])


def _coltman_shares(mtf: FloatArray, order: FloatArray, frequency_cyc_px: float) -> FloatArray:
    """How much the contrast changes with each of the responses measured."""
    step = 1e-4 * np.eye(order.size)
    change = [
        _series(mtf + each, order, frequency_cyc_px) - _series(mtf - each, order, frequency_cyc_px)
        for each in step
    ]
    return np.array(change) / 2e-4


def coltman(mtf: Callable[[FloatArray], FloatArray], frequency: FloatArray) -> FloatArray:
    """
    Contrast of an endless wave of bars, by Coltman's series; 1 where the response is 1.

    The last term counts half, which does for a series that alternates.

    Parameters
    ----------
    mtf : callable; response at frequencies; with its sign, where it has one
    frequency : ndarray of shape (n,); of the bars, in the unit that `mtf` takes

    References
    ----------
    J. W. Coltman, J. Opt. Soc. Am. 44, 468 (1954), from memory.
    """
    order = 2 * np.arange(_TERMS) + 1
    sign = np.where(np.arange(_TERMS) % 2 == 0, 1.0, -1.0)
    sign[-1] *= 0.5
    terms = np.asarray(mtf(order[:, None] * np.asarray(frequency, dtype=float)[None, :]))
    return np.asarray(4 / np.pi * ((sign / order) @ terms))
