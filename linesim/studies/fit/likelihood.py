"""
How likely captures are, and what they tell: normal samples, columns with gains of their own.

Of column j, all captures together, the covariance is W⁻¹ + U C Uᵀ: noise in time on the diagonal,
and what γ and δ have the samples of a column share. By Woodbury's identity all that is needed are
sums over the lines: A = UᵀWU and b = UᵀWr. The likelihood is exact for this model. Information is
J ᵀΣ⁻¹J of the means, ½ tr(Σ⁻¹Σ_a Σ⁻¹Σ_b) of the noise, the small share in which the two meet left
out (T. W. Anderson, An Introduction to Multivariate Statistical Analysis, from memory).

What a setup expects of a window: means, noise, and what columns have of their own.

A sample of column j is μ + γ_j·∂μ/∂γ + δ_j·∂μ/∂δ + noise: the column's own gain γ and offset δ are
normal, with PRNU/√n and DSNU·√n as EMVA 1288 has them. Noise in time is normal, of the variance
that the station has at the sample's own signal.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter

from linesim.forward.profile import column_profile
from linesim.forward.render import expected_of
from linesim.forward.sensor.linearity import shown_e
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import Station, station
from linesim.metrics.scene.affine import Affine
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.fit.windows import Window
from linesim.studies.measure.against.predicted import Prediction

CONTRAST_ERROR = OFF_AXIS_ERROR / 2
"""Contrast that a rendering gives fine detail too much or too little, between the lens's axes: half
of the largest error there, as measured on targets with detail in all directions."""
_COARSE_PX = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Signal:
    """Signal of a window, and the setup that it is of."""

    setup: Setup
    signal_e: FloatArray  # shape (lines, columns); before noise [e]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """What a window should show."""

    # both of shape (lines, columns)
    mean_dn: FloatArray
    variance_dn2: FloatArray
    gained_dn: FloatArray  # of the same shape; what a column gains by γ = 1 [DN]
    offset_dn: FloatArray  # shape (columns,); the same by δ = 1 e [DN]
    spread: tuple[float, float]  # standard deviations of γ and of δ [1, e]


def rendered(own: Prediction, window: Window, lies: Affine) -> Signal:
    """Render the lines of a window where they lie."""
    place = own.placement(lies, window.first_column, window.strays_px, window.sways_px)
    seen_e = expected_of(own.setup, own.reference, window.lines, place)
    return Signal(setup=own.setup, signal_e=seen_e[:, window.columns, 0].astype(np.float64))


def levelled(seen: Signal, setup: Setup, window: Window) -> Signal:
    """Bring a signal to the level of a setup that differs in light alone."""
    before, after = (float(station(each).electrons_white) for each in (seen.setup, setup))
    width = int(station(setup).geometry.image_width_px)
    share = column_profile(setup, width) / column_profile(seen.setup, width)
    ratio = after / max(before, 1e-300) * share[window.columns]
    return Signal(setup=setup, signal_e=seen.signal_e * ratio)


def expected(seen: Signal, window: Window) -> Expected:
    """Work out what the numbers of a signal should be."""
    numbers = station(seen.setup).by_colour[0]
    corrected = bool(seen.setup.acquisition.flat_field)
    lift: FloatArray = np.ones(seen.signal_e.shape[1])
    if corrected:
        width = int(numbers.geometry.image_width_px)
        lift = 1 / column_profile(seen.setup, width)[window.columns]
    gain = float(numbers.delivered.gain_dn_e)
    charge_e = shown_e(numbers, seen.signal_e * lift + float(numbers.delivered_dark_e))
    noise_e = numbers.noise_e(np.maximum(seen.signal_e, 0))
    return Expected(
        mean_dn=np.asarray(numbers.delivered.number_dn(charge_e)),
        variance_dn2=np.square(gain * lift * noise_e),
        gained_dn=gain * lift * seen.signal_e,
        offset_dn=gain * lift,
        spread=_spread(numbers, corrected=corrected),
    )


def _spread(numbers: Station, *, corrected: bool) -> tuple[float, float]:
    """Spread of the columns' gains and offsets; see `Station.pattern_e`."""
    if corrected:
        white_e = max(float(numbers.electrons_white), 1e-9)
        return float(numbers.pattern_e(white_e)) / white_e, 0.0
    lines = float(np.asarray(numbers.geometry.lines_joined))
    pixels = float(np.asarray(numbers.geometry.pixels_joined)) / lines
    prnu, dsnu_e = float(numbers.sensor.prnu), float(numbers.sensor.dsnu_e)
    return prnu / pixels**0.5, dsnu_e * lines * pixels**0.5


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
    """Give the likeliest gain γ and offset δ [e] of each column of the sensor."""
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
class Information:
    """What captures tell: the information matrix of keys, and behind them six steps a capture."""

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


def information_of(
    windows: Sequence[Window],
    seen: Sequence[Expected],
    slopes: Sequence[Slopes],
    spread_slopes: FloatArray,
    width: int,
) -> Information:
    """Work out what captures tell; the slopes of spreads are those of their squares."""
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
    return Information(by_mean, by_noise, by_columns, *push)


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
