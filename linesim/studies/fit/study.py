"""
A station's unknowns fitted to captures, by maximum likelihood.

Captures of the setup's own target are placed by rendering the prediction where they lie; keys of
the transport are read off their places; then light, lens and camera are moved, and the places with
them, until the captures are likeliest (`likelihood`, `scoring`). Keys that captures cannot tell
apart are left as they are, and named.

Where sharpness or level is far off, a line's shift is read off a picture that is not the capture's,
and lines seem to stray that do not. So what was found while placing counts only where captures are
likelier with it, and strays are looked for once more after the fit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linesim.forward.reference import Reference
from linesim.metrics.scene.strays import LEAST_PX, Series, strays
from linesim.setup.arguments import checked_setup
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.fit.adjust import Adjusted, adjusted
from linesim.studies.fit.case import Case, State, View, viewed
from linesim.studies.fit.found import Fitted, LeftKey
from linesim.studies.fit.key_table import BY_NAME, MOTION, checked_keys, usual_keys
from linesim.studies.fit.motion import (
    Moved,
    carried,
    estimated_advance,
    estimated_ripple,
    estimated_skew,
)
from linesim.studies.fit.result import places, put_together
from linesim.studies.fit.scoring import Progress
from linesim.studies.fit.windows import Window, read_capture, window_of
from linesim.studies.measure.against.predicted import Prediction, prediction
from linesim.targets.given import reference_of

Changes = Mapping[str, Any]
_REPEATS = 3
"""Times that strays are looked for again."""


def only_likely(case: Case) -> Case:
    """Leave out strays that make captures no likelier."""
    straight = tuple(_straight(each) for each in case.windows)
    if not any(_is_strayed(each) for each in case.windows):
        return case
    other = replace(case, windows=straight)
    both = [viewed(each, each.start()).unlikely for each in (case, other)]
    return case if both[0] < both[1] else other


def _is_strayed(window: Window) -> bool:
    return bool(np.any(window.strays_px) or np.any(window.sways_px))


def _straight(window: Window) -> Window:
    none = np.zeros_like(window.strays_px)
    return replace(window, strays_px=none, sways_px=none, taken=0.0)


def strays_added(case: Case, view: View) -> Case | None:
    """Add what lines still stray from a fitted model; None where they lie as it has them."""
    windows: list[Window] = []
    for window, seen in zip(case.windows, view.seen, strict=True):
        left = window.captured_dn - seen.mean_dn
        along, across, _ = strays(left, seen.gained_dn, 1 / seen.variance_dn2)
        windows.append(_added(window, (along, across)))
    if all(new is old for new, old in zip(windows, case.windows, strict=True)):
        return None
    return replace(case, windows=tuple(windows))


def _added(window: Window, more: Sequence[Series]) -> Window:
    """Move the lines of a window by what is more than noise."""
    moved: dict[str, FloatArray] = {}
    taken = window.taken
    for name, each in zip(("strays_px", "sways_px"), more, strict=True):
        if not (each.is_real and each.rms > LEAST_PX):
            continue
        own: FloatArray = getattr(window, name)
        if not np.any(own):
            taken += 1 / window.captured_dn.shape[1]
        lines = np.arange(len(own))
        moved[name] = own + np.interp(lines, window.lines, each.values)
    if not moved:
        return window
    return replace(
        window,
        strays_px=moved.get("strays_px", window.strays_px),
        sways_px=moved.get("sways_px", window.sways_px),
        taken=taken,
    )


def fit(
    setup: Setup,
    images: Sequence[Path | NDArray[np.uint16]],
    *,
    keys: Sequence[str] | None = None,
    conditions: Mapping[int, Changes] | None = None,
    reference: Reference | ArrayLike | None = None,
    progress: Progress | None = None,
) -> Fitted:
    """
    Fit keys of a setup to captures of its own target.

    Parameters
    ----------
    setup : Setup; a monochrome station with one light, with the target that was captured
    images : sequence of pathlib.Path or ndarray of uint16, shape (lines, columns)
        As the camera delivered them. [DN]
    keys : sequence of str, optional; to be fitted, such as "light.illuminance"; left out: the usual
    conditions : mapping of int to mapping, optional
        What was otherwise for an image, counted from 1: dotted keys and values as for `changed`.
    reference : array_like or Reference, optional
        Linear reflectance that stands in for the setup's image.
    progress : callable, optional; told how many rounds of a fit are done, and of how many at most

    Raises
    ------
    InputError; where the setup is no such station, or an image does not show its target
    """
    _refuse(checked_setup(setup), images)
    names = usual_keys(setup) if keys is None else checked_keys(keys, setup)
    variants = _variants(setup, len(images), conditions or {}, names)
    own = tuple(_prediction(each, reference) for each in variants)
    windows = tuple(
        window_of(one, *_read(one.setup, image, number))
        for number, (one, image) in enumerate(zip(own, images, strict=True), 1)
    )
    first = Case(predictions=own, windows=windows, keys=())
    moved, _ = _motions(first, names, [(each.lies, each.errors) for each in windows])
    keyed = tuple(BY_NAME[name] for name in names if name in BY_NAME)
    case = replace(only_likely(_rebuilt(first, moved)), keys=keyed)
    done = adjusted(case, case.start(), progress)
    for _ in range(_REPEATS):
        again = strays_added(done.free.case, done.free.end.view)
        if again is None:
            break
        case = replace(case, windows=again.windows)
        done = adjusted(case, _from(case, done), progress)
    moved, left = _motions(done.case, names, places(done))
    last = tuple(
        replace(window, lies=lies)
        for window, lies in zip(done.case.windows, done.end.view.state.lies, strict=True)
    )
    there = _rebuilt(replace(done.case, windows=last), moved)
    return _no_worse(put_together(setup, (first, there), done, moved, left, names))


def _no_worse(found: Fitted) -> Fitted:
    """Refuse changes that leave more of the captures unexplained than the setup did."""
    before, after = (
        sum(each.misfit[at] ** 2 * each.left_before.size for each in found.captures)
        for at in (0, 1)
    )
    if after > before and found.changes:
        refuse(
            "captures: the fitted setup explains them no better than the one that was given "
            f"({(after / before) ** 0.5:.4f} times as much is left); expected captures with more "
            "detail over their noise, or larger ones"
        )
    return found


def _from(case: Case, done: Adjusted) -> State:
    """Start a fit from where another ended."""
    free, start = done.free, case.start()
    found = dict(zip(free.case.keys, free.end.view.state.variables, strict=True))
    values = [found.get(key, own) for key, own in zip(case.keys, start.variables, strict=True)]
    return State(variables=np.array(values, dtype=np.float64), lies=free.end.view.state.lies)


def _refuse(setup: Setup, images: Sequence[object]) -> None:
    faults = []
    if setup.camera.kind != "mono":
        faults.append(f'camera.kind: read "{setup.camera.kind}"; expected "mono" to be fitted')
    if len(setup.lights) > 1:
        faults.append(f"light: read {len(setup.lights)} lights; expected one to be fitted")
    if not images:
        faults.append("images: nothing was read; expected one capture or more")
    if faults:
        raise InputError(*faults)


def _variants(
    setup: Setup, count: int, conditions: Mapping[int, Changes], names: Sequence[str]
) -> tuple[Setup, ...]:
    """Give the setup of each image."""
    for number, changes in conditions.items():
        if not 1 <= number <= count:
            there = "1, as one image was given" if count == 1 else f"1 to {count}"
            refuse(f"--taken (conditions): read image {number}; expected {there}")
        both = sorted(set(changes) & set(names))
        if both:
            refuse(
                f"--taken (conditions) of image {number}: read {', '.join(both)}, which is to be "
                "fitted; expected keys whose values are known, or other --keys"
            )
    return tuple(changed(setup, conditions.get(number, {})) for number in range(1, count + 1))


def _prediction(setup: Setup, reference: Reference | ArrayLike | None) -> Prediction:
    given = None
    if reference is not None:
        given = reference_of(reference, setup.target.pixel_size_um)
    return prediction(setup, given)


def _read(
    setup: Setup, image: Path | NDArray[np.uint16], number: int
) -> tuple[FloatArray, str, str]:
    """Read an image; give its name without a folder too, and the one that it was asked for by."""
    said = f'image "{image}"' if isinstance(image, Path) else f"image {number}"
    name = image.name if isinstance(image, Path) else said
    return read_capture(setup, image, said), name, said


def _motions(
    case: Case, names: Sequence[str], places: Sequence[tuple[Any, FloatArray]]
) -> tuple[tuple[Moved, ...], tuple[LeftKey, ...]]:
    """Read keys of the transport off the places of the captures."""
    own, found, left = case.predictions[0], [], []
    wanted = [name for name in names if name in MOTION]
    for name in wanted:
        if name == "transport.skew":
            found.append(estimated_skew(own, places))
        elif name == "transport.speed_ripple":
            ripple = estimated_ripple(own, case.windows)
            found += list(ripple or ())
            if ripple is None:
                left.append(LeftKey(name=name, why=_no_ripple(case.windows)))
        else:
            found.append(estimated_advance(own.setup, places))
    return tuple(found), tuple(left)


def _no_ripple(windows: Sequence[Window]) -> str:
    spread_px = max(float(np.std(each.strays_px)) for each in windows)
    if spread_px > 0:
        return f"lines stray by {spread_px:.3g} px (rms), but as no one sine"
    return "lines keep their places as far as the captures tell"


def _rebuilt(case: Case, moved: Sequence[Moved]) -> Case:
    """Take what the places told into the setups, and say where captures lie then."""
    # a ripple has a phase, which places alone know: it stays with the lines
    texts = {each.name: _text(each) for each in moved if "ripple" not in each.name}
    after = tuple(replace(own, setup=changed(own.setup, texts)) for own in case.predictions)
    windows = tuple(
        carried(window, own, new)
        for window, own, new in zip(case.windows, case.predictions, after, strict=True)
    )
    return replace(case, predictions=after, windows=windows)


def _text(each: Moved) -> object:
    return (each.estimate.value, each.unit) if each.unit else each.estimate.value
