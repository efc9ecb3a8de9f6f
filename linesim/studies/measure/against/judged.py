"""What a capture in register tells of light, noise, sharpness and lines, against the prediction."""

from dataclasses import dataclass, replace

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.compared import Transfer, blurred, has_structure, spectra, transfer
from linesim.metrics.scene.explained import Explained, explained, kernelled
from linesim.metrics.scene.levels import Levels, columns, levels, without_lines
from linesim.metrics.scene.strays import strays
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.measure.against.agreement import Difference
from linesim.studies.measure.against.placed import Placed
from linesim.studies.measure.against.predicted import Prediction
from linesim.studies.measure.against.signal import (
    Evenness,
    along_line,
    black,
    noise_parts,
    regularity,
    sharpness,
    signal,
)

_BOX = np.full((3, 3), 1 / 9)
_AWAY = 0.8
"""Share of the samples that noise is read off: away from both axes, in tiles that overlap."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """One channel of a capture, judged."""

    differences: tuple[Difference, ...]
    ratio: Transfer | None  # of the detail, where there is any
    noise: Explained | None
    left_dn: FloatArray  # shape (lines, columns); captured less what is explained [DN]
    unexplained: float  # of the detail's variance, what is neither detail nor the noise predicted
    loud: float  # variance of all that is not detail, over that of the noise predicted


def judged(setup: Setup, own: Prediction, one: Placed, channel: int) -> Judged:
    """Judge one channel."""
    numbers, base_dn = own.numbers.by_colour[channel], own.base_dn(channel)
    captured_dn = one.captured_dn[:, :, channel] - base_dn
    sharp_dn = one.predicted_dn[:, :, channel] - base_dn
    weight = 1 / own.noise_dn(sharp_dn + base_dn, channel) ** 2
    detail = _detail(own, channel, captured_dn, sharp_dn)
    level, model_dn = _levelled(own, one, captured_dn, sharp_dn, (weight, detail))
    left_dn = captured_dn - model_dn - (0.0 if level.black is None else level.black.value)
    streaks = columns(left_dn, model_dn, weight)
    light = strays(streaks.left, model_dn, weight)[2]
    rest_dn = without_lines(streaks.left, model_dn, weight)
    there_dn2 = own.own_variance_dn2(model_dn + base_dn, channel)
    if detail is None:
        noise = _plain_noise(rest_dn, there_dn2)
    else:
        # expected at the level that is there, not at the one predicted
        scale = float(own.own_variance_dn2(sharp_dn + base_dn, channel).mean() / there_dn2.mean())
        value = scale * detail[1].noise.value
        # few bands can agree by chance, and no variance of n samples is known better than by √(2/n)
        least = value * float(np.sqrt(2 / (_AWAY * rest_dn.size)))
        noise = Estimate(value=value, sd=max(scale * detail[1].noise.sd, least))
    even = Evenness(columns=streaks.rms, lines=light, signal_dn=model_dn.mean(axis=0)[streaks.lit])
    return Judged(
        differences=(
            *signal(numbers, level, noise),
            *black(numbers, level),
            *along_line(setup, numbers, level),
            *noise_parts(numbers, rest_dn, model_dn),
            *(() if detail is None else sharpness(numbers, detail[0], own.reference.pixel_size_um)),
            *regularity(setup, own, one, channel, even),
        ),
        ratio=None if detail is None else detail[0],
        noise=None if detail is None else detail[1],
        left_dn=rest_dn,
        unexplained=(noise.value - 1) * float(there_dn2.mean() / max(model_dn.var(), 1e-300)),
        loud=noise.value,
    )


_Detail = tuple[Transfer, Explained]


def _detail(
    own: Prediction, channel: int, captured_dn: FloatArray, sharp_dn: FloatArray
) -> _Detail | None:
    """Compare what detail there is, frequency by frequency."""
    variance_dn2 = own.own_variance_dn2(sharp_dn + own.base_dn(channel), channel)
    if not has_structure(sharp_dn, float(variance_dn2.mean())):
        return None
    shared = spectra(sharp_dn, captured_dn, variance_dn2)
    return transfer(shared), explained(shared)


def _levelled(
    own: Prediction,
    one: Placed,
    captured_dn: FloatArray,
    sharp_dn: FloatArray,
    by: tuple[FloatArray, _Detail | None],
) -> tuple[Levels, FloatArray]:
    """Fit the levels, and give the signal that they make of the prediction. [DN]."""
    weight, detail = by
    column = np.arange(one.columns.start, one.columns.stop) + one.first_column
    place = (2 * column + 1) / own.width_px - 1
    signal_dn = sharp_dn
    if detail is not None:
        # a blur that the prediction lacks would pass for less light and more black
        signal_dn = blurred(sharp_dn, replace(detail[0], gain=Estimate(value=1.0, sd=0.0)))
    level = levels(captured_dn, signal_dn, weight, place)
    side, ends = (0.0 if each is None else each.value for each in (level.side, level.ends))
    model_dn = signal_dn * (level.gain.value * (1 + side * place + ends * place**2))
    if detail is None:
        return level, model_dn
    # fine detail by the kernel, whose blur need not be a Gaussian; the rest by the levels
    seen_dn = kernelled(sharp_dn, detail[1].kernel)
    return level, kernelled(model_dn, _BOX) + seen_dn - kernelled(seen_dn, _BOX)


def _plain_noise(left_dn: FloatArray, variance_dn2: FloatArray) -> Estimate:
    """Give the variance of what is left of an even target, over that predicted."""
    lines, across = left_dn.shape
    share = left_dn**2 / ((1 - 1 / lines) * (1 - 1 / across) * variance_dn2)
    return Estimate(value=float(share.mean()), sd=float(np.sqrt(2 / share.size)))
