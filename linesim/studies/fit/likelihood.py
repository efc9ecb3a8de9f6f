"""
How likely captures are, and what they tell: normal samples, columns with gains of their own.

Of column j, all captures together, the covariance is W⁻¹ + U C Uᵀ: noise in time on the diagonal,
and what γ and δ have the samples of a column share. By Woodbury's identity all that is needed are
sums over the lines: A = UᵀWU and b = UᵀWr. The likelihood is exact for this model. Information is
J ᵀΣ⁻¹J of the means, ½ tr(Σ⁻¹Σ_a Σ⁻¹Σ_b) of the noise, the small share in which the two meet left
out (T. W. Anderson, An Introduction to Multivariate Statistical Analysis, from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter

from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.setup.arrays import FloatArray
from linesim.studies.fit.model import Expected
from linesim.studies.fit.windows import Window

CONTRAST_ERROR = OFF_AXIS_ERROR / 2
"""Contrast that a rendering gives fine detail too much or too little, between the lens's axes: half
of the largest error there, as measured on targets with detail in all directions."""
_COARSE_PX = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Columns:
    """Sums over the lines of all captures, a column each."""

    stiff: FloatArray  # shape (columns, 2, 2); A
    force: FloatArray  # shape (columns, 2); b

    def inner(self, spread: tuple[float, float]) -> FloatArray:
        """Give (C⁻¹ + A)⁻¹, also where a spread is 0; of shape (columns, 2, 2)."""
        root = np.diag(spread)
        even = np.eye(2) + root @ self.stiff @ root
        return np.asarray(root @ np.linalg.inv(even) @ root)

    def unlikely(self, spread: tuple[float, float]) -> float:
        """Give what columns add to −2 log of the likelihood."""
        root = np.diag(spread)
        even = np.eye(2) + root @ self.stiff @ root
        gained = np.einsum("ji,jik,jk->", self.force, self.inner(spread), self.force)
        return float(np.linalg.slogdet(even)[1].sum() - gained)


def column_sums(windows: Sequence[Window], seen: Sequence[Expected], width: int) -> Columns:
    """Add up what columns share."""
    stiff, force = np.zeros((width, 2, 2)), np.zeros((width, 2))
    for window, each in zip(windows, seen, strict=True):
        weight = 1 / each.variance_dn2
        left = window.captured_dn - each.mean_dn
        gained, offset = each.gained_dn, each.offset_dn
        at = window.columns
        stiff[at, 0, 0] += (weight * gained**2).sum(axis=0)
        cross = (weight * gained).sum(axis=0) * offset
        stiff[at, 0, 1] += cross
        stiff[at, 1, 0] += cross
        stiff[at, 1, 1] += weight.sum(axis=0) * offset**2
        force[at, 0] += (weight * gained * left).sum(axis=0)
        force[at, 1] += (weight * left).sum(axis=0) * offset
    return Columns(stiff=stiff, force=force)


def own_gains(
    windows: Sequence[Window], seen: Sequence[Expected], width: int
) -> tuple[FloatArray, FloatArray]:
    """
    Give the likeliest gains and offsets of the columns.

    Returns
    -------
    tuple of ndarray of shape (width,); γ, and δ in electrons
    """
    sums = column_sums(windows, seen, width)
    found = np.einsum("jpq,jq->jp", sums.inner(seen[0].spread), sums.force)
    return found[:, 0], found[:, 1]


def unlikely(windows: Sequence[Window], seen: Sequence[Expected], width: int) -> float:
    """Give −2 log of the likelihood, but for a constant."""
    total = column_sums(windows, seen, width).unlikely(seen[0].spread)
    for window, each in zip(windows, seen, strict=True):
        left = window.captured_dn - each.mean_dn
        total += float((left**2 / each.variance_dn2).sum())
        total += (1 - window.taken) * float(np.log(each.variance_dn2).sum())
    return total


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slopes:
    """What a window does when variables move."""

    mean_dn: FloatArray  # shape (variables, samples); change of the means for each
    variance_dn2: FloatArray  # shape (variables, samples); of the variances
    place_dn: FloatArray  # shape (6, samples); of the means, for the six steps of its place


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """Information of captures: of keys, and behind them six steps for each capture."""

    # shape (n, n); parts that add up
    by_mean: FloatArray
    by_noise: FloatArray
    by_columns: FloatArray
    push: FloatArray  # shape (n,); slope of the likelihood's log over the means alone
    unsure: FloatArray  # shape (n,); what `CONTRAST_ERROR` of a rendering would add to that

    @property
    def whole(self) -> FloatArray:
        """Give all of it."""
        return self.by_mean + self.by_noise + self.by_columns


def told(
    windows: Sequence[Window],
    seen: Sequence[Expected],
    slopes: Sequence[Slopes],
    spread_slopes: FloatArray,
    width: int,
) -> Told:
    """
    Work out what captures tell.

    Parameters
    ----------
    spread_slopes : ndarray of shape (variables, 2); of the squares of both spreads
    """
    keys, count = len(spread_slopes), len(spread_slopes) + 6 * len(windows)
    by_mean, by_noise, by_columns = np.zeros((3, count, count))
    shared, push = np.zeros((count, width, 2)), np.zeros((2, count))
    rendered = [_rendered_otherwise(*pair) for pair in zip(windows, seen, strict=True)]
    for number, (window, each, own) in enumerate(zip(windows, seen, slopes, strict=True)):
        index = np.r_[:keys, keys + 6 * number : keys + 6 * (number + 1)]
        stiff, force, at = _of_samples(window, each, own)
        by_mean[np.ix_(index, index)] += stiff
        push[0, index] += force
        push[1, index] += _of_samples(rendered[number], each, own)[1]
        shared[index, window.columns] += at
        relative = own.variance_dn2 / each.variance_dn2.ravel()
        by_noise[:keys, :keys] += relative @ relative.T / 2
    sums = column_sums(windows, seen, width)
    inner = sums.inner(seen[0].spread)
    taken = np.einsum("ajp,jpq->ajq", shared, inner)
    by_mean -= taken.reshape(count, -1) @ shared.reshape(count, -1).T
    forces = np.stack([each.force for each in (sums, column_sums(rendered, seen, width))])
    push -= np.einsum("ajq,njq->na", taken, forces)
    by_columns[:keys, :keys] = _of_columns(sums, inner, spread_slopes)
    return Told(by_mean, by_noise, by_columns, *push)


def _rendered_otherwise(window: Window, each: Expected) -> Window:
    """Give a capture whose fine detail has a little more contrast than was rendered."""
    coarse = [gaussian_filter(each.mean_dn[band], _COARSE_PX) for band in window.bands]
    detail_dn = each.mean_dn - np.concatenate(coarse)
    return replace(window, captured_dn=each.mean_dn + CONTRAST_ERROR * detail_dn)


def _of_samples(
    window: Window, each: Expected, own: Slopes
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sum what means tell in one window: JᵀWJ, JᵀWr, and JᵀWU of each column."""
    moved = np.concatenate([own.mean_dn, own.place_dn])
    weight = 1 / each.variance_dn2
    heavy = moved * weight.ravel()
    by_column = heavy.reshape(len(moved), *weight.shape)
    gained = (by_column * each.gained_dn).sum(axis=1)
    offset = by_column.sum(axis=1) * each.offset_dn
    left = (window.captured_dn - each.mean_dn).ravel()
    return heavy @ moved.T, heavy @ left, np.stack([gained, offset], axis=2)


def _of_columns(sums: Columns, inner: FloatArray, spread_slopes: FloatArray) -> FloatArray:
    """½ tr(G Ċ_a G Ċ_b), with G = UᵀΣ⁻¹U, summed over the columns."""
    within = sums.stiff - sums.stiff @ inner @ sums.stiff
    squared = (within * within.transpose(0, 2, 1)).sum(axis=0)
    return np.asarray(spread_slopes @ squared @ spread_slopes.T / 2)
