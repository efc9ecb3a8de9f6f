"""Labels of an image that a device has made, by what it tells of each fault."""

from collections.abc import Hashable
from functools import lru_cache
from typing import NamedTuple, cast

import numpy as np

from linesim.dataset.draw import Drawn
from linesim.dataset.feed.prepared import Mark, Prepared
from linesim.dataset.feed.seeing import in_one_light
from linesim.dataset.item import Instance, instance_of, without_overlap
from linesim.dataset.labels.backdrop import Backdrop, backdrop, required_texture
from linesim.dataset.labels.seen import Judge, Strength, around, margin_px, with_margin
from linesim.dataset.plan.plan import LabelRule
from linesim.defects.labels import Label, label_of
from linesim.forward.station import station
from linesim.metrics.detection.texture import Texture
from linesim.setup.arrays import ImageArray
from linesim.setup.setup import Setup

_HELD = 32


@lru_cache(maxsize=_HELD)
def _behind(setup: Setup, texture: Hashable) -> Backdrop | None:
    """Work out what of a texture reaches the samples of a station, in any light."""
    return backdrop(station(setup), cast("Texture | None", texture))


class _Reported(NamedTuple):
    """What a device tells of one fault."""

    with_e: ImageArray  # over its reach, of shape (lines, columns) [e]
    own_e: ImageArray
    shares: ImageArray  # over its samples


def judged(
    rule: LabelRule,
    asked: Drawn,
    made: Prepared,
    reported: ImageArray,
    own: Texture | None,
) -> tuple[Instance, ...]:
    """
    Label the faults of an image.

    Parameters
    ----------
    rule : LabelRule
    asked : Drawn; the image
    made : Prepared; the same, as the device had it
    reported : ndarray; of all marks, as `Scanned` has it
    own : Texture or None; of the scene

    Returns
    -------
    tuple of Instance; all faults, those without a label too
    """
    if not asked.faults:
        return ()
    texture = required_texture(asked.setup) or own
    # a texture is told from others by itself
    behind = _behind(in_one_light(asked.setup), cast("Hashable", texture))
    judge = Judge(numbers=station(asked.setup), behind=behind)
    by_number = _by_number(made.marks, reported)
    found = []
    for number, placed in enumerate(asked.faults):
        label, strength = None, None
        if number in by_number:
            mark, parts = by_number[number]
            label = label_of(parts.shares, mark.samples[0][0], mark.samples[1][0])
        if label is not None:
            strength = _strength(judge, label, (mark, parts), made.shape)
        found.append(instance_of(rule, placed, made.areas_um2[number], (label, strength)))
    return without_overlap(found, made.shape)


def _by_number(marks: tuple[Mark, ...], reported: ImageArray) -> dict[int, tuple[Mark, _Reported]]:
    """Part what a device tells, fault by fault."""
    found, first = dict[int, tuple[Mark, _Reported]](), 0
    for mark in marks:
        parts = []
        for lines, columns in (mark.reach, mark.reach, mark.samples):
            shape = lines[1] - lines[0], columns[1] - columns[0]
            size = shape[0] * shape[1]
            parts.append(reported[first : first + size].reshape(shape))
            first += size
        found[mark.number] = mark, _Reported(*parts)
    return found


def _strength(
    judge: Judge, label: Label, known: tuple[Mark, _Reported], shape: tuple[int, int]
) -> Strength:
    """Tell how well a fault is seen, in its label and the margin around that."""
    (mark, parts), (high, wide) = known, label.mask.shape
    box = label.first_line, label.first_column, label.first_line + high, label.first_column + wide
    lines, columns = around(box, margin_px(judge.numbers), shape)
    at = tuple(
        slice(low - reach[0], past - reach[0])
        for (low, past), reach in zip((lines, columns), mark.reach, strict=True)
    )
    with_e, own_e = (
        each[at][:, :, None].astype(np.float64) for each in (parts.with_e, parts.own_e)
    )
    return judge.strength(with_e, own_e, with_margin(label.mask, box, lines, columns))
