"""
Figures that cost much, along ranges of many points: a cubic through some, checked between them.

The figures of detection integrate over frequencies and search for sizes, a millisecond a point.
They are smooth along most keys, so that a few dozen points a range carry a spline through the
logarithms. It is held against the closed form halfway between its nodes, where it errs most, and
must agree to 0.0005, a quarter of what those integrals are right to (sizes of over 30 object pixels
to 0.005, for they ripple by as much); else there are more nodes, and in the end all points. Jumps,
as of an encoder that rounds to whole counts, fail that check.
"""

from collections.abc import Mapping, Sequence
from math import prod

import numpy as np
import scipy

from linesim.setup.arrays import FloatArray
from linesim.studies.batch.along import Along
from linesim.studies.batch.figures import COSTLY, Figures, Progress, figures_of, nobody
from linesim.studies.batch.ranges import Range
from linesim.studies.batch.station_arrays import Places

_NODES = (17, 25, 49, 97)
"""On each range; with the first only where the second would not be worth it: it often fails."""
_AGREE = 5e-4
_SIZES = ("smallest_", "rose_diameter")
_LARGE, _AGREE_LARGE = 30.0, 5e-3
"""Sizes over so many object pixels, at which the integrals ripple by some thousandths of d'."""
_PIXEL = {"object_pixel_x_um": "geometry"}
_SPAN = 3.0
"""Ratio of the largest to the smallest value from which on ratios count; our choice."""
_WORTH = 2
"""Points for each that is worked out, below which all are."""


def figures_along(space: Along, groups: Mapping[str, str], progress: Progress = nobody) -> Figures:
    """
    Work figures out along ranges, as `figures_of` gives them; the costly ones at enough options.

    Those of detection are right to 0.0005 of themselves.
    """
    costly = {name: group for name, group in groups.items() if group == COSTLY}
    others = {name: group for name, group in groups.items() if group != COSTLY}
    found = figures_of(space, np.arange(space.count), others, progress)
    return found | (smooth_figures(space, costly, progress) if costly else {})


def smooth_figures(space: Along, groups: Mapping[str, str], progress: Progress) -> Figures:
    """Work costly figures out along ranges."""
    counts = [[_spread(each, count) for each in space.ranges] for count in _NODES]
    worth = [nodes for nodes in counts if _WORTH * _asked(nodes) <= space.count]
    for nodes in worth[1:] or worth:
        found = _through(space, groups, nodes, progress)
        if found is not None:
            return found
    return figures_of(space, np.arange(space.count), groups, progress)


def _asked(nodes: Sequence[Places]) -> int:
    """Count points at the nodes and halfway between them, at most."""
    return int(2 ** len(nodes)) * prod(len(each) for each in nodes)


def _spread(over: Range, count: int) -> Places:
    """Choose values evenly, by their ratios where these are large, so many at most."""
    place = _place(over)
    even = np.linspace(place[0], place[-1], min(len(place), count))
    after = np.clip(np.searchsorted(place, even), 1, len(place) - 1)
    nearer = even - place[after - 1] < place[after] - even
    return np.unique(np.where(nearer, after - 1, after)).astype(np.intp)


def _place(over: Range) -> FloatArray:
    """Lay values out so that figures bend little: by their logarithms where they span much."""
    values = np.array(over.base_values, dtype=np.float64)
    return np.log(values) if values[0] > 0 and values[-1] > _SPAN * values[0] else values


def _through(
    space: Along, groups: Mapping[str, str], nodes: Sequence[Places], progress: Progress
) -> Figures | None:
    """Lay a spline through some points; nothing where it does not hold halfway between them."""
    halfway = [
        (each[1:] + each[:-1]) // 2 if len(each) < length else each
        for each, length in zip(nodes, space.shape, strict=True)
    ]
    pixel_um = _exact(space, _PIXEL, halfway, nobody)["object_pixel_x_um"]
    at_nodes, between = (_exact(space, groups, each, progress) for each in (nodes, halfway))
    made = {}
    for name, values in at_nodes.items():
        whole = _spline(space.ranges, nodes, values)
        seen = whole[np.ix_(*halfway, np.arange(whole.shape[-1]))]
        large = name.startswith(_SIZES) & (between[name] > _LARGE * pixel_um)
        allowed = np.where(large, _AGREE_LARGE, _AGREE)
        if not np.all(np.abs(seen - between[name]) <= allowed * np.abs(between[name])):
            return None
        made[name] = whole.reshape(-1, whole.shape[-1])
    return made


def _exact(
    space: Along, groups: Mapping[str, str], picked: Sequence[Places], progress: Progress
) -> Figures:
    """Work figures out at some values of each range, all combined."""
    shape = tuple(map(len, picked))
    indices = np.ravel_multi_index(np.ix_(*picked), space.shape).ravel()
    found = figures_of(space, indices, groups, progress)
    return {name: each.reshape(*shape, -1) for name, each in found.items()}


def _spline(ranges: Sequence[Range], nodes: Sequence[Places], values: FloatArray) -> FloatArray:
    """Fill some up to all values, one range after the other; no number spreads from one."""
    in_ratios = bool(np.all(values > 0))
    filled = np.log(values) if in_ratios else values
    if not np.isfinite(filled).all():
        return np.full((*(len(each.base_values) for each in ranges), values.shape[-1]), np.nan)
    for axis, (over, picked) in enumerate(zip(ranges, nodes, strict=True)):
        place = _place(over)
        if len(picked) < len(place):
            filled = scipy.interpolate.CubicSpline(place[picked], filled, axis=axis)(place)
    return np.exp(filled) if in_ratios else np.asarray(filled)
