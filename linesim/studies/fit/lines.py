"""
Lines that stray, looked for again by a model that fits.

Where sharpness or level is far off, a line's shift is read off a picture that is not the capture's,
and lines seem to stray that do not. So what was found while placing counts only where captures are
likelier with it, and strays are looked for once more after the fit.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from linesim.metrics.scene.strays import LEAST_PX, Series, strays
from linesim.setup.arrays import FloatArray
from linesim.studies.fit.case import Case, View, viewed
from linesim.studies.fit.windows import Window


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


def looked_again(case: Case, view: View) -> Case | None:
    """
    Add what lines still stray from a model that was fitted.

    Returns
    -------
    Case; none where lines lie as the view has them
    """
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
