"""The result of a fit, put together: keys, what is bound, and what is left of each capture."""

from collections.abc import Sequence

import numpy as np

from linesim.metrics.interval import SIDE_SD, Interval
from linesim.metrics.scene.affine import Affine
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.fit.adjust import Adjusted, correlations, shares
from linesim.studies.fit.case import Case, View, viewed
from linesim.studies.fit.found import Fitted, FoundCapture, FoundKey, LeftKey
from linesim.studies.fit.likelihood import own_gains
from linesim.studies.fit.motion import Moved
from linesim.studies.fit.windows import Window
from linesim.studies.fit.words import fit_cautions

_DIGITS = 6
"""Of a fitted value as it is written into the setup."""


def put_together(
    setup: Setup,
    ends: tuple[Case, Case],
    done: Adjusted,
    moved: Sequence[Moved],
    left: tuple[LeftKey, ...],
    names: Sequence[str],
) -> Fitted:
    """Put together what was found of the keys asked for, in their order."""
    end, case = done.end, done.case
    keys = (*_found_keys(setup, done), *_found_moves(setup, moved))
    order = {name: place for place, name in enumerate((*names, "transport.ripple_frequency"))}
    after = changed(setup, {each.name: _written(each) for each in keys})
    captures = _captures(*ends, done)
    return Fitted(
        before=setup,
        after=after,
        found=tuple(sorted(keys, key=lambda each: order[each.name])),
        left=(*done.left, *left),
        correlations=_pairs(done),
        captures=captures,
        settled=end.settled,
        cautions=fit_cautions(after, case.predictions[0], captures, settled=end.settled),
    )


def places(done: Adjusted) -> list[tuple[Affine, FloatArray]]:
    """Give the place of each capture, and the covariance of its steps."""
    case, view, covariance = done.case, done.end.view, done.end.covariance
    count = len(case.keys)
    return [
        (lies, covariance[count + 6 * k : count + 6 * k + 6, count + 6 * k : count + 6 * k + 6])
        for k, lies in enumerate(view.state.lies)
    ]


def _found_keys(setup: Setup, done: Adjusted) -> list[FoundKey]:
    information = done.end.information
    parts = (information.by_mean, information.by_noise, information.by_columns)
    found = []
    for index, (key, seen) in enumerate(zip(done.case.keys, done.intervals, strict=True)):
        mean, noise, columns = shares(done.end.covariance, parts, index)
        found.append(
            FoundKey(
                name=key.name,
                unit=key.unit,
                before=abs(key.value(setup)) if key.form == "square" else key.value(setup),
                interval=seen,
                by_mean=mean,
                by_noise=noise,
                by_columns=columns,
            )
        )
    return found


def _found_moves(setup: Setup, moved: Sequence[Moved]) -> list[FoundKey]:
    transport = setup.transport
    before = {
        "transport.assumed_speed": transport.assumed_speed_mm_s or transport.speed_mm_s,
        "transport.speed": transport.speed_mm_s,
        "transport.encoder_step": transport.encoder_step_um or 0.0,
        "transport.skew": transport.skew_deg,
        "transport.speed_ripple": transport.speed_ripple,
        "transport.ripple_frequency": transport.ripple_frequency_hz,
    }
    return [
        FoundKey(
            name=each.name,
            unit=each.unit,
            before=before[each.name],
            interval=Interval(
                value=each.estimate.value,
                low=each.estimate.value - SIDE_SD * each.estimate.sd,
                high=each.estimate.value + SIDE_SD * each.estimate.sd,
            ),
        )
        for each in moved
    ]


def _written(each: FoundKey) -> object:
    value = float(f"{each.interval.value:.{_DIGITS}g}")
    return (value, each.unit) if each.unit else value


def _pairs(done: Adjusted) -> dict[tuple[str, str], float]:
    names = [key.name for key in done.case.keys]
    matrix = correlations(done.end.covariance[: len(names), : len(names)])
    return {
        (names[i], names[j]): float(matrix[i, j])
        for i in range(len(names))
        for j in range(i + 1, len(names))
    }


def _captures(first: Case, last: Case, done: Adjusted) -> tuple[FoundCapture, ...]:
    """See what is left of each capture, by the setup as it was and as it is fitted."""
    before, after = viewed(first, first.start()), done.end.view
    lefts = [_left(first, each) for each in (before, after)]
    found = []
    for number, window in enumerate(first.windows):
        both = [each[number] for each in lefts]
        found.append(
            FoundCapture(
                name=window.name,
                lies=last.windows[number].lies,
                mirrored=window.mirrored,
                lines=window.captured_dn.shape[0],
                columns=window.captured_dn.shape[1],
                left_before=both[0],
                left_after=both[1],
                neighbours=_neighbours(both[1], window),
                strays_px=float(np.std(last.windows[number].strays_px)),
            )
        )
    return tuple(found)


def _left(case: Case, view: View) -> list[FloatArray]:
    """Give captured less expected over the noise, what columns have of their own taken off."""
    gains, offsets = own_gains(case.windows, view.seen, case.width_px)
    return [
        (
            window.captured_dn
            - each.mean_dn
            - each.gained_dn * gains[window.columns]
            - each.offset_dn * offsets[window.columns]
        )
        / np.sqrt(each.variance_dn2)
        for window, each in zip(case.windows, view.seen, strict=True)
    ]


def _neighbours(left: FloatArray, window: Window) -> tuple[float, float]:
    """Correlate what is left with its neighbours, streaks of columns taken off."""
    even = left - left.mean(axis=0)
    power = float((even**2).mean())
    along = [even[band] for band in window.bands]
    down = float(np.mean([(each[1:] * each[:-1]).mean() for each in along]))
    right = float((even[:, 1:] * even[:, :-1]).mean())
    return down / power, right / power
