"""Find three equal bars in a profile: where they lie and how wide they are."""

from dataclasses import dataclass

import numpy as np
import scipy

from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse

FEWEST_PX = 8
_LEAST_BAR_PX = 1.0
_WIDTHS, _PLACES = 40, 40
# Share of the profile's variance that three bars must explain.
_EXPLAINED = 0.8
_THREE, _ONE = np.array([-2.0, 0.0, 2.0]), np.array([0.0])  # middles, in bar widths
# Three bars must leave less than this share of what one wide bar leaves; else they are not seen.
_BETTER = 0.5
_SPANNED = 5.0
# Standard deviation of the blur in bar widths; at the end of it the response is 0.04.
_LEAST_BLUR, _MOST_BLUR = 0.01, 0.8
_TINY = 1e-18  # of a square that rounding leaves
_FITTED = 6  # centre, width, blur, depth and the ground's two


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundBars:
    """Three bars in a profile."""

    # middle of the middle bar, from the outer side of the first pixel, and width [px]
    centre_px: float
    bar_px: float
    ground: FloatArray  # shape (pixels,); the profile as it would be without bars: a straight line
    noise: float  # standard deviation of what is left, six values fitted allowed for


def find_bars(profile: FloatArray) -> FoundBars:
    """
    Fit three blurred bars on a ground that may slope.

    Centre, width and blur are first looked for on a grid, then by least squares; depth and ground
    follow from them by a linear fit. One wide bar must do worse, for three that are not told apart
    have no width. The blur is a Gaussian: the width hardly depends on its shape, for it is the
    distance of the bars that tells it.

    Parameters
    ----------
    profile : ndarray of shape (pixels,); averaged along the bars, with ground at both ends
    """
    if profile.size < FEWEST_PX:
        refuse(f"bars: {profile.size} px across them read; expected {FEWEST_PX} or more")
    if not np.ptp(profile) > 0:
        refuse(
            "bars: all values of the region are alike; expected three bars and ground about them"
        )
    three, one = _fit(profile, _THREE), _fit(profile, _ONE)
    explained = 1.0 - float(np.var(three.rest) / np.var(profile - three.ground))
    free = min(three.centre_px, profile.size - three.centre_px) + 0.5
    are_apart = three.rest @ three.rest <= _BETTER * (one.rest @ one.rest)
    if explained < _EXPLAINED or not are_apart or _SPANNED / 2 * three.bar_px > free:
        refuse(
            "bars: no three equal bars found in the region; expected all of three bars of one "
            "group, with about a bar's width of ground on both sides, and nothing else"
        )
    free = max(1, profile.size - _FITTED)
    return FoundBars(
        centre_px=three.centre_px,
        bar_px=three.bar_px,
        ground=three.ground,
        noise=float(np.sqrt(three.rest @ three.rest / free)),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    """Bars fitted, what they leave, and the ground under them."""

    centre_px: float
    bar_px: float
    rest: FloatArray
    ground: FloatArray


def _fit(profile: FloatArray, middles: FloatArray) -> _Fit:
    """Fit bars whose middles lie at some places, in bar widths from the middle of all."""

    def rest_of(values: FloatArray) -> FloatArray:
        return _left(profile, middles, *values)[0]

    widest = profile.size / (np.ptp(middles) + 1.0)
    low, high = (0.0, _LEAST_BAR_PX, _LEAST_BLUR), (float(profile.size), widest, _MOST_BLUR)
    found = scipy.optimize.least_squares(
        rest_of, _start(profile, middles, widest), bounds=(low, high)
    )
    rest, ground = _left(profile, middles, *found.x)
    return _Fit(centre_px=float(found.x[0]), bar_px=float(found.x[1]), rest=rest, ground=ground)


def _start(
    profile: FloatArray, middles: FloatArray, widest_px: float
) -> tuple[float, float, float]:
    """Try a net of widths and places: the best takes most of what no sloping ground takes."""
    half, place = (np.ptp(middles) + 1.0) / 2, np.arange(float(profile.size)) + 0.5
    ground = np.linalg.qr(np.stack([np.ones(profile.size), place], axis=1))[0]
    wanted = profile - ground @ (ground.T @ profile)
    tries, gains = [], []
    for width in np.geomspace(_LEAST_BAR_PX * 1.05, 0.95 * widest_px, _WIDTHS).tolist():
        blur = min(0.15 + 0.3 / width, _MOST_BLUR)
        centres = np.linspace(half * width, profile.size - half * width, _PLACES)
        bars = _bars(place - centres[:, None], middles, width, blur)
        bars -= (bars @ ground) @ ground.T
        size = np.sum(bars**2, axis=1)
        seen = size > _TINY * profile.size
        gains.append(np.where(seen, (bars @ wanted) ** 2 / np.where(seen, size, 1.0), 0.0))
        tries += [(centre, width, blur) for centre in centres.tolist()]
    return tries[int(np.argmax(gains))]


def _bars(place: FloatArray, middles: FloatArray, bar_px: float, blur: float) -> FloatArray:
    """Draw blurred bars of height 1 at places from the middle of all."""
    ends = (place[..., None] / bar_px - middles) / blur
    far, near = (scipy.special.ndtr(ends + half / blur) for half in (0.5, -0.5))
    return np.asarray((far - near).sum(axis=-1))


def _left(
    profile: FloatArray, middles: FloatArray, centre_px: float, bar_px: float, blur: float
) -> tuple[FloatArray, FloatArray]:
    """Fit depth and ground; give what these bars leave, and the ground under them."""
    place = np.arange(float(profile.size)) + 0.5 - centre_px
    bars = _bars(place, middles, bar_px, blur)
    line = np.stack([np.ones(profile.size), place / profile.size], axis=1)
    basis = np.column_stack([bars, line])
    found = np.linalg.lstsq(basis, profile, rcond=None)[0]
    return profile - basis @ found, line @ found[1:]
