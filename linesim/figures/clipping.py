"""Which limit clips, and how far the light must go down for it, by the formula that judges it."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from linesim.figures.case import Value, values
from linesim.forward.geometry import Figure
from linesim.forward.kept import limit_share
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray

PLACES: Mapping[str, str] = {
    "pixel": "the pixel's full well",
    "binned": "the full well of summed charge",
    "scale": "full scale",
}
"""The limits in words, in the order of the light."""
_KEYS = {"pixel": "full_well_e", "binned": "binned_full_well_e", "scale": "full_scale_dn"}
_TIE = 0.01
"""Limits that lie closer than this share are one; the first is named. Our choice."""
_SIGNALS_E = (1e-9, 1e15)
_PARTS, _ROUNDS = 64, 10
"""Into which a range of 24 decades is parted, and how often: down to the rounding of a float."""


def clipping_limit(numbers: Station, signal_e: Figure) -> str:
    """Name the limit that an even level, of several colours one each, comes nearest to."""
    shares = {name: float(np.max(limit_share(_alone(numbers, name), signal_e))) for name in PLACES}
    nearest = max(shares.values())
    return next(name for name, share in shares.items() if share >= nearest * (1 - _TIE))


def nearest_place(numbers: Station, share: float) -> str:
    """Name the limit of which a level takes some share, over 0 and as `limit_share` gives it."""
    return PLACES[clipping_limit(numbers, signal_at(numbers, share))]


def place_of_white(signal: Mapping[str, Value]) -> str:
    """Name in words the limit that white fills, to stand behind the share or the factor."""
    place = PLACES[str(signal["saturation_limit"])]
    clips = max(values(signal["saturation_white"])) > 1
    return f"{place}: clipped" if clips else f"of {place}"


def _alone(numbers: Station, name: str) -> Station:
    """Take all limits away but one."""
    others = {key: np.inf for each, key in _KEYS.items() if each != name}
    return replace(numbers, sensor=replace(numbers.sensor, **others))


def signal_at(numbers: Station, share: float) -> FloatArray:
    """Find the signal [e] that takes a share of the nearest limit; 0 where the dark takes more."""
    low, high = (np.full(np.shape(numbers.electrons_white), np.log(each)) for each in _SIGNALS_E)
    for _ in range(_ROUNDS):
        # many places at once, for a call costs more than its numbers
        places = np.linspace(low, high, _PARTS + 1)
        under = np.asarray(limit_share(numbers, np.exp(places[1:-1]))) <= share
        first = under.sum(axis=0, keepdims=True)
        low, high = (np.take_along_axis(places, first + each, axis=0)[0] for each in (0, 1))
    return np.where(low > np.log(_SIGNALS_E[0]), np.exp(low), 0.0)


def brightest_of(numbers: Station, share: float) -> float:
    """Find the level, as a share of white, that takes some share of the nearest limit."""
    white_e = np.maximum(np.asarray(numbers.electrons_white, dtype=np.float64), _SIGNALS_E[0])
    return float(np.min(signal_at(numbers, share) / white_e))


def unclipped_ratio(numbers: Station, share: float) -> float:
    """Tell by what light goes up to the limit for every colour; 0 where even the dark clips."""
    now_e, then_e = signal_at(numbers, share), signal_at(numbers, 1.0)
    return float(np.min(np.where(now_e > 0, then_e / np.maximum(now_e, _SIGNALS_E[0]), 0.0)))
