"""
What light, black level and fall-off an image has against its prediction, and with what noise.

captured = black + signal · (gain + side·u + ends·u²), u from -1 to 1 along the line; weighted least
squares. What is left besides is noise; its variance is split into a part that is there in the dark
and one that grows with the signal, as shot noise does: the slope of a photon transfer curve.
Standard errors are jackknives over bands of lines and columns.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.affine import shrunk
from linesim.metrics.scene.compared import jackknife
from linesim.setup.arrays import FloatArray

_BANDS = 12
_SQUARE_PX = 6
_KNOWN_BLACK = 0.02
"""Error of black over the mean signal up to which detail tells black and light apart."""
_KNOWN_ENDS = 0.02
_KNOWN_NOISE = 0.1
_LIT = 0.1
"""Columns that see less than so much of the usual signal squared tell nothing of their gain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of an image over those predicted."""

    gain: Estimate  # signal in the middle of the line, over that predicted
    black: Estimate | None = None  # more than predicted, where detail tells it from the light
    # of the light at an end, as shares of that in the middle
    side: Estimate | None = None
    ends: Estimate | None = None


def levels(
    captured: FloatArray, signal: FloatArray, weight: FloatArray, place: FloatArray
) -> Levels:
    """
    Fit levels.

    Parameters
    ----------
    captured : ndarray of shape (lines, columns); above the black level that is predicted
    signal : ndarray of the same shape; predicted above it
    weight : ndarray of the same shape; one over the variance
    place : ndarray of shape (columns,); along the line, -1 to 1
    """
    # squares that are large against any blur: how much contrast fine detail keeps is not asked
    rows, columns = (side // _SQUARE_PX * _SQUARE_PX for side in signal.shape)
    where = np.broadcast_to(place[None, :columns], (rows, columns))
    inner, heavy = signal[:rows, :columns], weight[:rows, :columns]
    planes = np.ones_like(inner), inner, inner * where, inner * where**2, captured[:rows, :columns]
    total_weight = shrunk(heavy, _SQUARE_PX)
    basis = np.stack([shrunk(each * heavy, _SQUARE_PX) / total_weight for each in planes])
    sums = _normal(basis, total_weight * _SQUARE_PX**2)
    total = sums.sum(axis=(0, 1))
    mean = float(total[0, 1] / total[0, 0])
    chosen = [1]
    for more, limit in ((0, _KNOWN_BLACK * abs(mean)), (3, _KNOWN_ENDS), (2, _KNOWN_ENDS)):
        wider = sorted([*chosen, more])
        if _error(total, wider, more) < limit:
            chosen = wider
    found = dict(zip(chosen, jackknife(sums, lambda each: _solved(each, chosen)), strict=True))
    gain = found[1]
    per = {key: _over(found[key], gain.value) for key in (2, 3) if key in found}
    return Levels(gain=gain, black=found.get(0), side=per.get(2), ends=per.get(3))


def _over(part: Estimate, whole: float) -> Estimate:
    return Estimate(value=part.value / whole, sd=part.sd / abs(whole))


def _normal(basis: FloatArray, weight: FloatArray) -> FloatArray:
    """Sum weighted products of planes over blocks: (rows, columns, planes, planes)."""
    rows, columns = (
        [slice(int(a), int(b)) for a, b in pairwise(edges)]
        for edges in (np.linspace(0, side, _BANDS + 1).astype(int) for side in weight.shape)
    )
    out = np.empty((len(rows), len(columns), len(basis), len(basis)))
    for i, row in enumerate(rows):
        for j, column in enumerate(columns):
            block = basis[:, row, column].reshape(len(basis), -1)
            out[i, j] = (block * weight[row, column].ravel()) @ block.T
    return out


def _solved(total: FloatArray, chosen: list[int]) -> FloatArray:
    return np.asarray(np.linalg.solve(total[np.ix_(chosen, chosen)], total[chosen, -1]))


def _error(total: FloatArray, chosen: list[int], which: int) -> float:
    """Give the error of one of some parameters, by the weights; endless where it is not told."""
    matrix = total[np.ix_(chosen, chosen)]
    size = np.sqrt(np.diag(matrix))
    even = matrix / np.outer(size, size)
    if np.linalg.cond(even) > 1e10:  # noqa: PLR2004 -- beyond rounding
        return np.inf
    index = chosen.index(which)
    return float(np.sqrt(np.linalg.inv(even)[index, index]) / size[index])


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """Noise in two parts, each over the one predicted."""

    dark: Estimate | None  # variance in the dark, where it can be told
    shot: Estimate | None  # variance that grows with the signal, where it can be told


def split_noise(left: FloatArray, dark: FloatArray, shot: FloatArray) -> Split:
    """
    Split noise by the signal it comes with.

    Parameters
    ----------
    left : ndarray of shape (lines, columns); what no prediction explains
    dark, shot : ndarray of the same shape; variances predicted
    """
    variance = dark + shot
    sums = _normal(np.stack([dark, shot, left**2]), 1 / (2 * variance**2))
    dark_part, shot_part = jackknife(sums, lambda each: _solved(each, [0, 1]))
    return Split(
        dark=dark_part if dark_part.sd < _KNOWN_NOISE * max(abs(dark_part.value), 1) else None,
        shot=shot_part if shot_part.sd < _KNOWN_NOISE * max(abs(shot_part.value), 1) else None,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Columns:
    """Streaks along travel."""

    rms: Estimate  # spread of the columns' gain beyond that of their errors
    left: FloatArray  # shape (lines, columns); what is left without them
    lit: NDArray[np.bool_]  # shape (columns,); columns with enough signal to tell their gain


def columns(left: FloatArray, signal: FloatArray, weight: FloatArray) -> Columns:
    """
    Take a gain of its own off every column of what is left between captured and fitted.

    Parameters
    ----------
    left, signal : ndarray of shape (lines, columns); the latter as fitted
    weight : ndarray of the same shape; one over the variance
    """
    stiff = np.maximum((weight * signal**2).sum(axis=0), 1e-300)
    gain = (weight * signal * left).sum(axis=0) / stiff
    rest = left - gain * signal
    lit = stiff >= _LIT * np.median(stiff)
    free = int(lit.sum()) - 1
    total = float(np.sum((gain[lit] - gain[lit].mean()) ** 2) / free)
    error2 = (weight * rest**2).sum(axis=0) / (len(left) - 1) / stiff
    own = float(error2[lit].mean())
    real = max(total - own, 0.0)
    rms = np.sqrt(real)
    sd = total * np.sqrt(2 / free) / (2 * max(rms, np.sqrt(total * np.sqrt(2 / free))))
    return Columns(rms=Estimate(value=float(rms), sd=float(sd)), left=rest, lit=lit)


def without_lines(left: FloatArray, signal: FloatArray, weight: FloatArray) -> FloatArray:
    """
    Take a gain of its own off every line.

    Parameters
    ----------
    left, signal, weight : ndarray of shape (lines, columns); as for `columns`
    """
    gain = (weight * signal * left).sum(axis=1) / (weight * signal**2).sum(axis=1)
    return np.asarray(left - gain[:, None] * signal)
