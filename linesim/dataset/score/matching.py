"""
Which prediction has found which fault, and the average precision of all.

In each image and category predictions are taken by falling score, and each finds the fault that
none has found before with which it shares most: its intersection over union must reach a limit.
Average precision is the mean over 101 recalls, 0 to 1, of the best precision at that recall or
more.

References
----------
Detection evaluation of the COCO data set (from memory): limits 0.5 to 0.95 in steps of 0.05, at
most 100 predictions an image and category. The tests compare with pycocotools.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from linesim.dataset.score.predictions import Prediction
from linesim.setup.arrays import FloatArray

LIMITS = tuple(round(0.5 + 0.05 * k, 2) for k in range(10))
_MOST = 100
_RECALLS = np.linspace(0, 1, 101)
_HAIR = 1e-10
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """One labelled fault."""

    image_id: int
    category_id: int
    bbox: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Matches:
    """Of all predictions that count, by falling score in each category: which fault each found."""

    scores: FloatArray
    categories: tuple[int, ...]
    images: tuple[int, ...]
    found: tuple[int, ...]  # place of the fault in the list of truths; -1 for none


def box_of(values: Sequence[float]) -> Box:
    """Take a box from four numbers."""
    left, top, wide, high = map(float, values)
    return left, top, wide, high


def matched(truths: Sequence[Truth], given: Sequence[Prediction], limit: float) -> Matches:
    """Match predictions with faults, found from an intersection over union of ``limit``."""
    places: dict[tuple[int, int], list[int]] = defaultdict(list)
    for k, truth in enumerate(truths):
        places[truth.image_id, truth.category_id].append(k)
    groups: dict[tuple[int, int], list[Prediction]] = defaultdict(list)
    for each in given:
        groups[each.image_id, each.category_id].append(each)
    rows: list[tuple[int, int, float, int]] = []
    for (image, category), some in sorted(groups.items()):
        best = sorted(some, key=lambda each: -each.score)[:_MOST]
        held = places.get((image, category), [])
        found = _in_image([truths[k].bbox for k in held], [each.bbox for each in best], limit)
        rows += [
            (category, image, each.score, held[k] if k >= 0 else -1)
            for each, k in zip(best, found, strict=True)
        ]
    rows.sort(key=lambda row: (row[0], -row[2]))
    return Matches(
        scores=np.array([row[2] for row in rows], dtype=np.float64),
        categories=tuple(row[0] for row in rows),
        images=tuple(row[1] for row in rows),
        found=tuple(row[3] for row in rows),
    )


def _in_image(held: Sequence[Box], given: Sequence[Box], limit: float) -> list[int]:
    """Give the fault that each prediction of an image and category finds; -1 for none."""
    shares, taken, found = overlaps(given, held), set[int](), []
    for row in shares:
        chosen, most = -1, min(limit, 1 - _HAIR)
        for k, share in enumerate(row):
            if k not in taken and share >= most:
                chosen, most = k, share
        taken.add(chosen)
        found.append(chosen)
    return found


def overlaps(one: Sequence[Box], two: Sequence[Box]) -> FloatArray:
    """Give the intersection over union of each box with each other, shape (one, two)."""
    a, b = (np.array(each, dtype=np.float64).reshape(-1, 4) for each in (one, two))
    low = np.maximum(a[:, None, :2], b[None, :, :2])
    high = np.minimum(a[:, None, :2] + a[:, None, 2:], b[None, :, :2] + b[None, :, 2:])
    shared = np.prod(np.maximum(high - low, 0), axis=2)
    whole = np.prod(a[:, 2:], axis=1)[:, None] + np.prod(b[:, 2:], axis=1) - shared
    return np.asarray(np.divide(shared, whole, out=np.zeros_like(shared), where=whole > 0))


def precisions(truths: Sequence[Truth], matches: Matches) -> Mapping[int, float]:
    """Give the average precision of each category that has faults."""
    found, categories = np.array(matches.found, dtype=np.int64), np.array(matches.categories)
    return {
        category: _average(found[categories == category] >= 0, count)
        for category, count in sorted(_counts(truths).items())
    }


def _counts(truths: Sequence[Truth]) -> Mapping[int, int]:
    counts: dict[int, int] = defaultdict(int)
    for each in truths:
        counts[each.category_id] += 1
    return counts


def _average(right: np.ndarray, count: int) -> float:
    """Mean precision over all recalls, of predictions by falling score."""
    hits = np.cumsum(right)
    if not hits.size:
        return 0.0
    precision = hits / np.arange(1, hits.size + 1)
    best = np.maximum.accumulate(precision[::-1])[::-1]
    places = np.searchsorted(hits / count, _RECALLS, side="left")
    return float(np.where(places < best.size, np.append(best, 0.0)[places], 0.0).mean())
