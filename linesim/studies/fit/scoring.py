"""
Fisher's scoring: keys, and six steps of each capture's place, moved until captures are likeliest.

First the means alone are brought near, by least squares with the noise as it is: as long as they
are far off, a likelihood would take what is left for noise. Then all of it.

Each round renders the captures where they lie, moves each key a little to see what that does, and
takes the step I⁻¹·(slope of the log-likelihood), halved while it makes captures less likely. The
slope over a key is that of the likelihood itself, by difference; that over a place takes the
slopes of the image.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.scene.affine import Affine
from linesim.metrics.scene.settled import LIKELY
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse
from linesim.studies.fit.case import Case, State, View, limits, view_of, viewed
from linesim.studies.fit.likelihood import Information, Slopes, information_of, levelled
from linesim.studies.fit.windows import Window

_ROUNDS, _NEARING = 15, 12
_EVEN = 1e-6
"""Share of its information that holds a key while means are brought near: of keys that move the
means alike, each then takes its part."""
_CLOSE, _PLACED, _NEAR = 0.02, 0.3, 5.0
"""Steps, in standard errors: of keys and of places that are at rest, of means that are near."""
_STUCK = 5.0
"""So much larger a step is rest as well, where it makes captures no likelier: rounding."""
_HALVINGS = 6
_FARTHEST = 10.0
"""Standard deviations of noise that may be left when means have been brought near; our choice."""
_UNSEEN = 1e-6
"""Information on a small move of a key below which it does nothing; rounding is far less."""
_SLACK = 1e-3

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Likeliest:
    """The end of a fit."""

    view: View
    information: Information
    # shape (keys + 6 · captures, same); of noise, and of what a rendering may err
    covariance: FloatArray
    settled: bool  # whether nothing moved any more


def likeliest(case: Case, state: State, progress: Progress | None = None) -> Likeliest:
    """Move keys and places until captures are likeliest."""
    here, is_settled = _nearer(case, viewed(case, state)), False
    _refuse_far(case, here)
    for done in range(_ROUNDS):
        known, push = information_around(case, here)
        covariance = inverse(known.whole, len(case.keys))
        step = _step(case, here, known.whole, push)
        is_settled = _rests(step, covariance, len(case.keys))
        if progress is not None:
            progress(_ROUNDS if is_settled else done + 1, _ROUNDS)
        if is_settled:
            break
        better = _part_of(case, here, step, lambda view, _: view.unlikely, _SLACK)
        if better is here:
            is_settled = _rests(step / _STUCK, covariance, len(case.keys))
            break
        here = better
    # what a rendering may err moves the keys however many samples there are
    bias = covariance @ known.unsure
    return Likeliest(
        view=here,
        information=known,
        covariance=covariance + np.outer(bias, bias),
        settled=is_settled,
    )


def _nearer(case: Case, here: View) -> View:
    """Bring the means near."""
    for _ in range(_NEARING):
        known, _ = information_around(case, here)
        means = known.by_mean
        held = means + _EVEN * np.diag(np.diag(means))
        step = _step(case, here, held, known.push)
        if _size(step, inverse(held, len(case.keys))) < _NEAR:
            break
        there = _part_of(case, here, step, partial(_away, case))
        if there is here:
            break
        here = there
    return here


def _refuse_far(case: Case, here: View) -> None:
    """Refuse to go on where a likelihood would only make noise of what is left."""
    samples = sum(window.captured_dn.size for window in case.windows)
    left = (_away(case, here, here) / samples) ** 0.5
    if left > _FARTHEST:
        refuse(
            f"captures: prediction and capture differ by {left:.3g} times the noise wherever the "
            "keys are moved from the setup's values; expected a setup that is nearer, above all in "
            "lens.blur and lens.defocus, or further keys to fit"
        )


def _away(case: Case, there: View, here: View) -> float:
    """Give the squares of captured less expected, over the noise of another view."""
    return sum(
        float((np.square(window.captured_dn - mean.mean_dn) / noise.variance_dn2).sum())
        for window, mean, noise in zip(case.windows, there.seen, here.seen, strict=True)
    )


def _rests(step: FloatArray, covariance: FloatArray, keys: int) -> bool:
    """Tell whether keys, and the places that matter through them, have come to rest."""
    own = covariance[:keys, :keys], covariance[keys:, keys:]
    return _size(step[:keys], own[0]) < _CLOSE and _size(step[keys:], own[1]) < _PLACED


def _size(step: FloatArray, covariance: FloatArray) -> float:
    """Give the largest part of a step in standard errors."""
    sd = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    return float(np.max(np.abs(step) / sd, initial=0.0))


def _tried(case: Case, state: State) -> View | None:
    """Give a view, or none where there is no such setup."""
    try:
        return viewed(case, state)
    except InputError:
        return None


def _part_of(
    case: Case,
    here: View,
    step: FloatArray,
    left: Callable[[View, View], float],
    slack: float = 0.0,
) -> View:
    """Take as much of a step as leaves less, both judged from where it begins."""
    for halved in range(_HALVINGS):
        there = _tried(case, here.state.moved(step / 2**halved, case.keys))
        if there is not None and left(there, here) < left(here, here) + slack:
            return there
    return here


def inverse(information: FloatArray, keys: int) -> FloatArray:
    """Give the covariance; places that captures do not tell are held by what is likely."""
    held = information + _held(information, keys)
    size = np.sqrt(np.diag(held))
    size = np.where(size > 0, size, np.inf)
    return np.asarray(np.linalg.pinv(held / np.outer(size, size)) / np.outer(size, size))


def _held(information: FloatArray, keys: int) -> FloatArray:
    likely = np.tile(1 / np.square(LIKELY), (len(information) - keys) // 6)
    return np.diag(np.concatenate([np.zeros(keys), likely]))


def _step(case: Case, here: View, information: FloatArray, push: FloatArray) -> FloatArray:
    """Give the step; keys without effect stay, and such as would leave their range end there."""
    count = len(case.keys)
    limits = _reach(case, here)
    step, free = np.zeros(len(push)), np.ones(len(push), dtype=bool)
    free[:count] = has_effect(case, here, information)
    while True:
        force = (push - information @ np.where(free, 0.0, step))[free]
        part = information[np.ix_(free, free)]
        step[free] = inverse(part, int(free[:count].sum())) @ force
        kept = np.clip(step[:count], limits[:, 0], limits[:, 1])
        beyond = free[:count] & (kept != step[:count])
        if not beyond.any():
            return step
        step[:count] = np.where(beyond, kept, step[:count])
        free[:count] &= ~beyond


def _reach(case: Case, here: View) -> FloatArray:
    """Give how far each key may move in one step, of shape (keys, 2)."""
    variables, setup = here.state.variables, here.signals[0].setup
    most = [key.most(float(x), setup) for key, x in zip(case.keys, variables, strict=True)]
    left = limits(case.keys) - variables[:, None]
    return np.stack([np.maximum(left[:, 0], np.negative(most)), np.minimum(left[:, 1], most)], 1)


def has_effect(case: Case, here: View, information: FloatArray) -> NDArray[np.bool_]:
    """Tell of each key whether moving it a little is seen at all."""
    setup, variables = here.signals[0].setup, here.state.variables
    reach = [key.moved(float(x), setup) for key, x in zip(case.keys, variables, strict=True)]
    seen = np.diag(information)[: len(case.keys)] * np.square(reach)
    return np.asarray(seen > _UNSEEN)


def information_around(case: Case, here: View) -> tuple[Information, FloatArray]:
    """See what a small move of each key does."""
    near = [_near(case, here, at) for at in range(len(case.keys))]
    slopes = []
    for number, window in enumerate(case.windows):
        own = here.seen[number]
        means, variances = (
            np.array([getattr(each, name)[number].ravel() for each in near])
            for name in ("mean_dn", "variance_dn2")
        )
        slopes.append(
            Slopes(
                mean_dn=means.reshape(-1, own.mean_dn.size),
                variance_dn2=variances.reshape(-1, own.mean_dn.size),
                place_dn=_place_slopes(window, own.mean_dn, here.state.lies[number]),
            )
        )
    spread = np.array([each.spread for each in near]).reshape(-1, 2)
    known = information_of(case.windows, here.seen, slopes, spread, case.width_px)
    push = known.push.copy()
    diagonal = np.diag(known.whole)
    for at, each in enumerate(near):
        # from one side alone, the bend of the likelihood is taken off
        push[at] = each.push + each.lean * diagonal[at]
    return known, push


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Near:
    """Changes with one key, for one of its variable; of means and variances of each capture."""

    mean_dn: tuple[FloatArray, ...]
    variance_dn2: tuple[FloatArray, ...]
    spread: tuple[float, float]
    push: float
    lean: float


def _near(case: Case, here: View, at: int) -> _Near:
    """Move one key to both sides, or to one where its range ends."""
    key, own = case.keys[at], float(here.state.variables[at])
    reach = key.moved(own, here.signals[0].setup)
    low, high = key.variable(key.low), key.variable(key.high)
    ends = [x for x in (own - reach, own + reach) if low <= x <= high]
    if len(ends) == 1:
        ends = sorted([own, *ends])
    sides = [here if x == own else _moved(case, here, at, x) for x in ends]
    width = ends[1] - ends[0]
    pairs = list(zip(sides[0].seen, sides[1].seen, strict=True))
    spreads = [np.square(side.seen[0].spread) for side in sides]
    rise = (spreads[1] - spreads[0]) / width
    return _Near(
        mean_dn=tuple((b.mean_dn - a.mean_dn) / width for a, b in pairs),
        variance_dn2=tuple((b.variance_dn2 - a.variance_dn2) / width for a, b in pairs),
        spread=(float(rise[0]), float(rise[1])),
        push=(sides[0].unlikely - sides[1].unlikely) / (2 * width),
        lean=(ends[0] + ends[1]) / 2 - own,
    )


def _moved(case: Case, here: View, at: int, variable: float) -> View:
    """Give the view with one key moved; only sharpness takes another rendering."""
    variables = here.state.variables.copy()
    variables[at] = variable
    state = replace(here.state, variables=variables)
    if case.keys[at].sharp:
        return viewed(case, state)
    signals = tuple(
        levelled(seen, own.setup, window)
        for seen, own, window in zip(here.signals, case.at(variables), case.windows, strict=True)
    )
    return view_of(case, state, signals)


def _place_slopes(window: Window, image: FloatArray, lies: Affine) -> FloatArray:
    """Give the change of an image with each of the six steps of its place."""
    along, across = window.slopes(image)
    w = window.lines[:, None] - lies.middle_px[0]
    u = np.arange(window.columns.start, window.columns.stop) - window.first_column
    u = u[None, :] - lies.middle_px[1]
    six = (along, across, along * w, across * u, along * u, across * w)
    return np.stack([each.ravel() for each in six])
