"""
Find where an image lies in a prediction of its target: roughly, whichever way it lies.

Both are averaged to some hundred samples a side and correlated at every shift; of each shift the
correlation is that of what both share (normalised; as the masked correlation of D. Padfield, IEEE
Trans. Image Process. 21 (2012) 2706, with whole rectangles as masks). First as it stands and
mirrored; where none fits well, also turned and stretched, and of a large image its middle at a
finer scale. The best fit counts, but of those that fit as well the one that lies nearest to where
it was expected.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.ndimage import affine_transform, gaussian_filter
from scipy.signal import fftconvolve

from linesim.metrics.scene.affine import STILL, Affine, Steps, shrunk
from linesim.setup.arrays import FloatArray

_SIDE_PX = 128
_LEANING_PX = 64
"""Sides of the averaged images, straight and leaning."""
_FINER = 4
_GOOD = 0.8
_POOR = 0.5
"""Correlations from which on nothing else is tried, and under which a finer scale is."""
_AS_GOOD = 0.98
"""Share of the best correlation from which on the place decides."""
_LEAST_SHARED = 0.4
_TURNS = np.tan(np.deg2rad([-3.0, 0.0, 3.0])).tolist()
_GROWTHS = (-0.06, 0.0, 0.06)
MIRRORS = {"no": (1, 1), "across": (1, -1), "along": (-1, 1), "both": (-1, -1)}
"""How an image may be mirrored: steps along and across that undo it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A rough place."""

    mirrored: str
    lies: Affine  # of the image after that is undone
    correlation: float  # of what both share, at best 1


def find(captured: FloatArray, predicted: FloatArray, expected_px: tuple[float, float]) -> Found:
    """
    Find an image in a prediction.

    Parameters
    ----------
    captured : ndarray of shape (lines, columns)
    predicted : ndarray of shape (more lines, more columns)
    expected_px : (float, float)
        Place of the image's first sample in the prediction, along and across. [px]
    """
    largest = max(captured.shape)
    factor, wide = (max(1, round(largest / side)) for side in (_SIDE_PX, _LEANING_PX))
    straight = [STILL]
    tries = (
        (straight, factor, _GOOD),
        (_leaning(), wide, _POOR),
        (straight, max(1, factor // _FINER), _POOR),
        (_leaning(), max(1, wide // _FINER), _POOR),
    )
    best: list[Found] = []
    for steps, scale, enough in tries:
        best += _tried(captured, predicted, steps, (scale, expected_px))
        top = max(each.correlation for each in best)
        if top > enough:
            break
    good = [each for each in best if each.correlation >= _AS_GOOD * top]
    return min(good, key=lambda each: _unlikely(each, expected_px))


def _unlikely(each: Found, expected_px: tuple[float, float]) -> tuple[bool, float, float]:
    steps = each.lies.steps
    return (
        each.mirrored != "no",
        float(np.abs(steps[2:]).sum()),
        float(np.hypot(*np.subtract(steps[:2], expected_px))),
    )


def _leaning() -> list[Steps]:
    return [
        Steps(0.0, 0.0, along, across, turn, -turn)
        for turn, along, across in product(_TURNS, _GROWTHS, _GROWTHS)
    ]


def _tried(
    captured: FloatArray,
    predicted: FloatArray,
    poses: Iterable[Steps],
    at: tuple[int, tuple[float, float]],
) -> Iterator[Found]:
    """Try ways it may lie, in samples so much larger; of a large image its middle alone."""
    factor, expected_px = at
    side = _SIDE_PX * factor
    starts = [max(0, (whole - side) // 2) for whole in captured.shape]
    part = captured[starts[0] : starts[0] + side, starts[1] : starts[1] + side]
    small, field = _detail(shrunk(part, factor)), shrunk(predicted, factor)
    used = np.array(small.shape) * factor
    middle = (np.array(field.shape) - 1) / 2
    image_px = (np.array(captured.shape) - 1) / 2
    near = np.array(expected_px) + starts
    for steps in poses:
        matrix = np.array(
            [[1 + steps.grow_along, steps.tilt], [steps.drift, 1 + steps.grow_across]]
        )
        seen = _field(_turned(field, matrix), (small.shape[0], small.shape[1]))
        for name, turn in MIRRORS.items():
            correlation, place = seen.best(small[:: turn[0], :: turn[1]], near / factor)
            # from the middle of the part, whole and unturned, to the middle of the image
            part_px = place + (np.array(small.shape) - 1) / 2
            at_px = (middle + matrix @ (part_px - middle) + 0.5) * factor - 0.5
            ends = np.array(captured.shape) - starts - used
            own_px = np.where(np.array(turn) < 0, ends, starts) + (used - 1) / 2
            off_px = at_px + matrix @ (image_px - own_px) - image_px
            lies = Affine(
                middle_px=(float(image_px[0]), float(image_px[1])),
                steps=steps._replace(along=float(off_px[0]), across=float(off_px[1])),
            )
            yield Found(mirrored=name, lies=lies, correlation=correlation)


def _turned(field: FloatArray, matrix: FloatArray) -> FloatArray:
    """Look at a field through a map about its middle."""
    if np.array_equal(matrix, np.eye(2)):
        return field
    middle = (np.array(field.shape) - 1) / 2
    offset = middle - matrix @ middle
    return np.asarray(affine_transform(field, matrix, offset=offset, order=1, mode="nearest"))


def _detail(image: FloatArray) -> FloatArray:
    """Take off what changes slowly: shading is no detail of the target."""
    return np.asarray(image - gaussian_filter(image, _SIDE_PX / 8, mode="nearest"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Field:
    """A field, with what every template of one shape shares with it at every shift."""

    values: FloatArray
    shape: tuple[int, int]
    count: FloatArray
    mean: FloatArray
    power: FloatArray

    def best(self, template: FloatArray, near: FloatArray) -> tuple[float, FloatArray]:
        """Give the highest correlation and the place of the template's first sample."""
        inside = np.ones_like(self.values)
        own, squares = _with(inside, template), _with(inside, template**2)
        above = _with(self.values, template) - self.mean * own
        below = self.power * (squares - own**2 / self.count)
        least = 1e-9 * float(np.max(below, initial=0.0)) + 1e-300
        enough = (self.count >= _LEAST_SHARED * template.size) & (below > least)
        ratio = np.where(enough, above / np.sqrt(np.maximum(below, least)), -1.0)
        top = float(ratio.max())
        rows, columns = np.nonzero(ratio >= _AS_GOOD * top)
        places = np.stack([rows - self.shape[0] + 1, columns - self.shape[1] + 1], axis=1)
        nearest = int(np.argmin(np.hypot(*(places - near).T)))
        return float(ratio[rows[nearest], columns[nearest]]), places[nearest].astype(np.float64)


def _field(field: FloatArray, shape: tuple[int, int]) -> _Field:
    values, ones = _detail(field), np.ones(shape)
    count = np.maximum(np.rint(_with(np.ones_like(values), ones)), 1)
    mean = _with(values, ones) / count
    power = _with(values**2, ones) - mean**2 * count
    return _Field(values=values, shape=shape, count=count, mean=mean, power=power)


def _with(field: FloatArray, template: FloatArray) -> FloatArray:
    """Sum products of a field with a template, at every shift."""
    return np.asarray(fftconvolve(field, template[::-1, ::-1]))
