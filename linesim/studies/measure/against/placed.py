"""Bring a capture and its prediction into register: by rendering anew, not by resampling."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from linesim.metrics.scene.affine import Affine
from linesim.metrics.scene.compared import has_structure
from linesim.metrics.scene.found import MIRRORS, find
from linesim.metrics.scene.settled import Step, largest, settled, step
from linesim.metrics.scene.strays import LEAST_PX, Series, strays
from linesim.setup.arrays import FloatArray
from linesim.studies.measure.against.predicted import Prediction
from linesim.studies.measure.against.refusals import refuse_chance, refuse_far_off, refuse_unlike

_ROUNDS = 14
_SOFTENED_PX = (14.0, 10.0, 7.0, 5.0, 3.0, 2.0, 1.0)
_LIT = 0.1
_FAR = 0.05
"""Share of the detail's variance that is left, from which on lines may stray far; our choice."""
_CLOSE_PX = 0.004
_NEAR_PX = 1.0
"""Found so near to where it is set up that both lead to one place: it is looked for once."""
_RIM_PX = 10
_LEANS, _LESS_LIKELY = 0.005, 0.002
"""Leaning from which on a place must fit better than one that does not, and by how much; our
choice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """A capture and what is predicted of it, in register."""

    # shape (lines, columns, channels); what both share, without a rim; mirroring undone [DN]
    captured_dn: FloatArray
    predicted_dn: FloatArray
    # of the capture, that are left
    lines: slice
    columns: slice
    first_column: int  # of the sensor that the capture starts with
    mirrored: str  # "no", "across", "along" or "both"
    lies: Affine  # where the capture lies in what the setup would deliver [px]
    errors: FloatArray  # shape (6, 6); covariance of its steps
    # how far each line strays, where that is more than noise [px]
    along: Series | None = None
    across: Series | None = None


def placed(own: Prediction, captured_dn: FloatArray, name: str) -> Placed:
    """
    Find where a capture lies, and render the prediction there; the name is for refusals.

    Parameters
    ----------
    captured_dn : ndarray of shape (lines, columns, channels) [DN]
    """
    lines, columns = captured_dn.shape[:2]
    best = _clearest(own)
    searched = own.all_lines(lines)
    whole_dn = own.expected_dn(searched)
    noise_dn2 = float((own.noise_dn(whole_dn[:, :, best], best) ** 2).mean())
    flat = Affine(middle_px=((lines - 1) / 2, (columns - 1) / 2))
    if not has_structure(whole_dn[:, :, best], noise_dn2):
        return _rendered(own, captured_dn, _Guess(flat, "no", 0, detailed=False))
    found = find(
        captured_dn[:, :, best],
        whole_dn[:, :, best],
        (-float(searched[0]), (own.width_px - columns) / 2),
    )
    refuse_chance(found.correlation, name)
    turned = captured_dn[:: MIRRORS[found.mirrored][0], :: MIRRORS[found.mirrored][1]]
    fine = settled(turned[:, :, best], whole_dn[:, :, best], found.lies)
    lies = fine.moved(fine.steps._replace(
        along=float(searched[0]), across=0.0, grow_along=0, grow_across=0, tilt=0, drift=0,
    ))  # fmt: skip
    first = int(np.clip(round(lies.steps.across), 0, own.width_px - columns))
    placed_at = _closer(own, turned, _Guess(lies, found.mirrored, first), best)
    near = found.mirrored == "no" and largest(lies.steps, captured_dn.shape) < _NEAR_PX
    if columns == own.width_px and not near:
        # a whole capture that lies as set up is taken so, where noise hides what else might be
        as_set_up = _closer(own, captured_dn, _Guess(flat, "no", 0), best)
        placed_at = min(placed_at, as_set_up, key=lambda one: _unlike(one, best))
    _refuse_unlike(own, placed_at, best, name)
    return placed_at


@dataclass(frozen=True, slots=True)
class _Guess:
    """Where a capture may lie: its map, its mirroring, its first column; if that can be seen."""

    lies: Affine
    mirrored: str
    first_column: int
    detailed: bool = True


def _closer(own: Prediction, captured_dn: FloatArray, guess: _Guess, best: int) -> Placed:
    """Render, step and render again, until nothing moves; then let lines stray if they do."""
    along: Series | None = None
    across: Series | None = None
    one = _rendered(own, captured_dn, guess)
    # lines that stray by more than detail is wide are caught in softened images first
    softer = list(_SOFTENED_PX) if _far(own, one, best) else []
    for _ in range(_ROUNDS):
        soft_px = softer.pop(0) if softer else 0.0
        seen = _softened(one, best, soft_px)
        found = _step(own, one, best, seen)
        guess = replace(guess, lies=guess.lies.moved(found.steps))
        along, across = _strayed(own, one, best, (seen, (along, across), soft_px))
        one = replace(
            _rendered(own, captured_dn, guess, (along, across)),
            errors=found.covariance,
            along=along,
            across=across,
        )
        if not softer and soft_px == 0 and largest(found.steps, seen[0].shape) < _CLOSE_PX:
            break
    return one


_Pair = tuple[FloatArray, FloatArray]


def _far(own: Prediction, one: Placed, best: int) -> bool:
    """Tell whether much more is left than noise, light and black taken off."""
    seen, model = _softened(one, best, 0.0)
    gain, offset = np.polyfit(model.ravel(), seen.ravel(), 1)
    left = float(np.var(seen - gain * model - offset))
    noise = float((own.noise_dn(model, best) ** 2).mean())
    return bool(left - noise > _FAR * gain**2 * float(model.var()))


def _softened(one: Placed, best: int, sigma_px: float) -> _Pair:
    """Give captured and predicted, softened along travel."""
    pair = one.captured_dn[:, :, best], one.predicted_dn[:, :, best]
    if sigma_px == 0:
        return pair
    seen, model = (gaussian_filter1d(each, sigma_px, axis=0, mode="nearest") for each in pair)
    return seen, model


def _strayed(
    own: Prediction,
    one: Placed,
    best: int,
    by: tuple[_Pair, tuple[Series | None, Series | None], float],
) -> tuple[Series | None, Series | None]:
    """Add what lines still stray to what they strayed before."""
    (seen, model), before, soft_px = by
    # a black level or a light other than predicted moves no line
    gain, offset = np.polyfit(model.ravel(), seen.ravel(), 1)
    signal = gain * (model - own.base_dn(best))
    more = strays(seen - (gain * model + offset), signal, 1 / own.noise_dn(model, best) ** 2)[:2]
    out: list[Series | None] = []
    for old, new in zip(before, more, strict=True):
        if old is None and not (new.is_real and new.rms > LEAST_PX):
            out.append(None)
            continue
        values = np.zeros(one.lines.start + len(new.values))
        values[one.lines.start :] = _held(new.values, soft_px)
        if old is not None:
            values = values + _filled(old.values, len(values))
        inner = values[one.lines.start :]
        rms = float(np.sqrt(max(np.mean(inner**2) - new.sd**2, 0.0)))
        out.append(replace(new, values=values, rms=rms, is_real=True))
    return out[0], out[1]


def _held(values: FloatArray, soft_px: float) -> FloatArray:
    """Let lines move by no more than a softened image can tell, and as their neighbours do."""
    if soft_px == 0:
        return values
    smooth = gaussian_filter1d(np.clip(values, -soft_px, soft_px), soft_px, mode="nearest")
    return np.asarray(smooth)


def _step(own: Prediction, one: Placed, best: int, pair: _Pair) -> Step:
    middle = (one.lies.middle_px[0] - one.lines.start, one.lies.middle_px[1] - one.columns.start)
    return step(*pair, 1 / own.noise_dn(pair[1], best) ** 2, middle)


def _rendered(
    own: Prediction,
    captured_dn: FloatArray,
    guess: _Guess,
    stray: tuple[Series | None, Series | None] = (None, None),
) -> Placed:
    """Render the prediction where the capture lies, and cut both to what they share."""
    lines, columns = captured_dn.shape[:2]
    values = [np.zeros(lines) if each is None else _filled(each.values, lines) for each in stray]
    placement = own.placement(guess.lies, guess.first_column, values[0], values[1])
    # an even target has no end that could be seen
    target_px = own.target_px if guess.detailed else (np.inf, np.inf)
    shared = _shared(own, guess.lies, (lines, columns), target_px)
    model_dn = own.expected_dn(np.arange(lines, dtype=np.float64)[shared[0]], placement)
    first = guess.first_column
    return Placed(
        captured_dn=captured_dn[shared],
        predicted_dn=model_dn[:, first + shared[1].start : first + shared[1].stop],
        lines=shared[0],
        columns=shared[1],
        first_column=first,
        mirrored=guess.mirrored,
        lies=guess.lies,
        errors=np.zeros((6, 6)),
    )


def _filled(values: FloatArray, lines: int) -> FloatArray:
    return np.pad(values[:lines], (0, max(0, lines - len(values))), mode="edge")


def _shared(
    own: Prediction, lies: Affine, shape: tuple[int, int], target: tuple[float, float]
) -> tuple[slice, slice]:
    """Give the largest part of the capture, without its rim, in which there is target."""
    ends = [[_RIM_PX, side - _RIM_PX] for side in shape]
    left = ((own.width_px - target[1]) / 2, (own.width_px + target[1]) / 2)
    limits = ((0.0, target[0]), left)
    if not np.isfinite(target[0]):
        limits = ((-np.inf, np.inf), (-np.inf, np.inf))
    while min(end - start for start, end in ends) > 0:
        corners = np.meshgrid(*[np.array([start, end - 1.0]) for start, end in ends], indexing="ij")
        outside = [
            np.maximum(low + _RIM_PX - place, place - (high - 1 - _RIM_PX))
            for place, (low, high) in zip(lies.at(*corners), limits, strict=True)
        ]
        worst = np.unravel_index(int(np.argmax(outside)), (2, 2, 2))
        if outside[worst[0]][worst[1], worst[2]] <= 0:
            break
        axis, side = int(worst[0]), int(worst[1 + worst[0]])
        ends[axis][side] += 1 - 2 * side
    return slice(*ends[0]), slice(*ends[1])


def _clearest(own: Prediction) -> int:
    """Name green, whose row is the middle one and is not read later; where it is dark, another."""
    white_e = [float(one.electrons_white) for one in own.numbers.by_colour]
    green = len(white_e) // 2
    return green if white_e[green] > _LIT * max(white_e) else int(np.argmax(white_e))


def _unlike(one: Placed, best: int) -> float:
    """Give how much of a capture is not the prediction's detail, and a little where it leans."""
    seen, model = one.captured_dn[:, :, best], one.predicted_dn[:, :, best]
    leaning = float(np.abs(one.lies.steps[2:]).max()) > _LEANS or one.mirrored != "no"
    return float(1 - np.corrcoef(seen.ravel(), model.ravel())[0, 1]) + _LESS_LIKELY * leaning


def _refuse_unlike(own: Prediction, one: Placed, best: int, name: str) -> None:
    """Refuse a match whose detail is mostly not the target's."""
    seen, model = one.captured_dn[:, :, best], one.predicted_dn[:, :, best]
    shown = float(np.corrcoef(seen.ravel(), model.ravel())[0, 1])
    signal, noise = float(model.var()), float((own.noise_dn(model, best) ** 2).mean())
    refuse_unlike(shown, float(np.sqrt(signal / (signal + noise))), name)
    refuse_far_off(one.lies.steps, name)
