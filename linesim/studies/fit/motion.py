"""
What the places of lines tell of the transport: the distance of lines, their skew, a ripple.

A capture lies in a prediction by six steps. Its scale along is the real distance of lines over the
predicted one: what a clock believes of the speed, the speed itself, or an encoder's step. The angle
between line and travel, of the target's own axes, is the skew; a target laid down askew turns both
alike and is no skew. Lines that stray along travel as one sine are a ripple of the speed under a
clock, y = v̄·a·(1 − cos 2πgt)/(2πg); errors of its fit as in D. C. Rife and R. R. Boorstyn, IEEE
Trans. Inf. Theory 20 (1974) 591, from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.affine import Affine
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.fit.key_table import advance_key
from linesim.studies.fit.windows import Window
from linesim.studies.measure.against.predicted import Prediction

_LEAST_EXPLAINED = 0.5
"""Share of the strays' power that one sine must explain; our choice."""
_FINER = 8
_FEWEST_CYCLES = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """One key of the transport, told by where lines lie."""

    name: str
    unit: str
    estimate: Estimate


def estimated_advance(setup: Setup, places: Sequence[tuple[Affine, FloatArray]]) -> Moved:
    """Tell the distance of lines from the places of all captures and their covariances."""
    grown = _joined([
        Estimate(value=lies.steps.grow_along, sd=float(np.sqrt(errors[2, 2])))
        for lies, errors in places
    ])  # fmt: skip
    name, transport, ratio = advance_key(setup), setup.transport, 1 + grown.value
    if name == "transport.assumed_speed":
        own, unit = transport.assumed_speed_mm_s or transport.speed_mm_s, "mm/s"
        value = own / ratio
    elif name == "transport.speed":
        value, unit = transport.speed_mm_s * ratio, "mm/s"
    else:
        value, unit = (transport.encoder_step_um or 0.0) * ratio, "um"
    return Moved(name=name, unit=unit, estimate=Estimate(value=value, sd=value * grown.sd / ratio))


def estimated_skew(own: Prediction, places: Sequence[tuple[Affine, FloatArray]]) -> Moved:
    """Tell the angle of the line from the places of all captures and their covariances."""
    found = [_skew_deg(own, *place) for place in places]
    whole = _joined(found)
    estimate = Estimate(value=own.setup.transport.skew_deg + whole.value, sd=whole.sd)
    return Moved(name="transport.skew", unit="deg", estimate=estimate)


def _skew_deg(own: Prediction, lies: Affine, errors: FloatArray) -> Estimate:
    """Give the angle between line and travel, less a right one. [deg]."""
    advance_um, side_um = own.sides_um
    step = lies.steps
    line = np.array([(1 + step.grow_across) * side_um, step.tilt * advance_um])
    travel = np.array([step.drift * side_um, (1 + step.grow_along) * advance_um])
    sine = float(line @ travel) / float(np.linalg.norm(line) * np.linalg.norm(travel))
    slope = np.array([advance_um / side_um, side_um / advance_um])
    sd = float(np.sqrt(slope @ errors[4:, 4:] @ slope))
    return Estimate(value=float(np.rad2deg(np.arcsin(sine))), sd=float(np.rad2deg(sd)))


def _joined(found: Sequence[Estimate]) -> Estimate:
    """Average by weight; captures that differ by more than their errors widen the error."""
    weight = np.array([1 / each.sd**2 for each in found])
    values = np.array([each.value for each in found])
    mean = float((weight * values).sum() / weight.sum())
    free = max(len(found) - 1, 1)
    apart = float((weight * (values - mean) ** 2).sum() / free)
    return Estimate(value=mean, sd=float(np.sqrt(max(apart, 1.0) / weight.sum())))


def estimated_ripple(own: Prediction, windows: Sequence[Window]) -> tuple[Moved, Moved] | None:
    """Tell a ripple of the capture whose lines stray most; None where it is no one sine."""
    spread = [float(np.std(each.strays_px)) for each in windows]
    window = windows[int(np.argmax(spread))]
    if max(spread) == 0:
        return None
    lines = np.arange(int(window.lines.min()), int(window.lines.max()) + 1)
    found = _sine(window.strays_px[lines])
    if found is None:
        return None
    amplitude, frequency = found
    rate_hz = float(own.numbers.timing.line_rate_hz)
    speed_um_s = 1000 * own.setup.transport.speed_mm_s
    frequency_hz = frequency.value * rate_hz
    share = 2 * np.pi * frequency_hz * own.sides_um[0] / speed_um_s
    relative = np.hypot(amplitude.sd / amplitude.value, frequency.sd / frequency.value)
    ripple = share * amplitude.value
    return (
        Moved(
            name="transport.speed_ripple",
            unit="",
            estimate=Estimate(value=ripple, sd=float(ripple * relative)),
        ),
        Moved(
            name="transport.ripple_frequency",
            unit="Hz",
            estimate=Estimate(value=frequency_hz, sd=frequency.sd * rate_hz),
        ),
    )


def _sine(values: FloatArray) -> tuple[Estimate, Estimate] | None:
    """Fit a sine beside a straight line; give its amplitude [px] and frequency [1/line]."""
    count = len(values)
    lowest = _FEWEST_CYCLES / count
    grid = np.arange(lowest, 0.5, 1 / (_FINER * count))
    if not len(grid):
        return None
    left = np.array([_left(values, each)[0] for each in grid])
    at = float(grid[int(np.argmin(left))])
    for width in (1 / (_FINER * count), 0.1 / (_FINER * count)):
        near = np.linspace(max(at - width, lowest / 2), at + width, 21)
        at = float(near[int(np.argmin([_left(values, each)[0] for each in near]))])
    power, amplitude = _left(values, at)
    whole = _left(values, None)[0]
    if power > (1 - _LEAST_EXPLAINED) * whole:
        return None
    sd = float(np.sqrt(power / max(count - 5, 1)))
    return (
        Estimate(value=amplitude, sd=sd * float(np.sqrt(2 / count))),
        Estimate(value=at, sd=float(np.sqrt(6) / np.pi * sd / (amplitude * count**1.5))),
    )


def _left(values: FloatArray, frequency: float | None) -> tuple[float, float]:
    """Fit at one frequency; give what is left, squared and summed, and the amplitude."""
    line = np.arange(len(values)) / len(values)
    basis = [np.ones_like(line), line]
    if frequency is not None:
        turn = 2 * np.pi * frequency * np.arange(len(values))
        basis += [np.cos(turn), np.sin(turn)]
    matrix = np.stack(basis, axis=1)
    found = np.linalg.lstsq(matrix, values, rcond=None)[0]
    left = values - matrix @ found
    return float(left @ left), float(np.hypot(*found[2:4])) if frequency is not None else 0.0


def carried(window: Window, before: Prediction, after: Prediction) -> Window:
    """Say where a capture lies in another prediction, whose transport alone differs."""
    advance_um, side_um = after.sides_um
    ratio = advance_um / before.sides_um[0]
    leans = [np.tan(np.deg2rad(own.setup.transport.skew_deg)) for own in (before, after)]
    lean = float(leans[1] - leans[0])
    step, (ic, jc) = window.lies.steps, window.lies.middle_px
    middle_um = (jc + step.across - (after.width_px / 2 - 0.5)) * side_um
    steps = step._replace(
        along=(ic + step.along) / ratio - ic - lean * middle_um / advance_um,
        grow_along=(1 + step.grow_along) / ratio - 1,
        tilt=step.tilt / ratio - lean * side_um * (1 + step.grow_across) / advance_um,
    )
    return replace(
        window, lies=Affine(middle_px=(ic, jc), steps=steps), strays_px=window.strays_px / ratio
    )
