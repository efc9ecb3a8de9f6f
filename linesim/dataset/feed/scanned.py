"""
Prepared images on a device: product cut out of its scene, faults painted, all of it scanned.

Three looks are taken of an image: at the product with its faults, by which it is made; at each
fault's own change, and at its cover without the lens, for the labels. Faults that are far from each
other are looked at together, one turn each.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from linesim.dataset.feed.covers import covers_on
from linesim.dataset.feed.outlines import together
from linesim.dataset.feed.painting import painted
from linesim.dataset.feed.prepared import Prepared, Span
from linesim.dataset.feed.seeing import Packed, brought
from linesim.forward.device.drawn import numbers
from linesim.forward.device.noise import applied
from linesim.forward.device.words import words_from
from linesim.forward.transport import STRIP_LINES

if TYPE_CHECKING:
    import torch


class Job(NamedTuple):
    """An image to be made, with what lies on the device already."""

    asked: Prepared
    scene: "torch.Tensor"  # shape (rows, columns); reflectance
    lens: Packed
    bare: Packed


class Scanned(NamedTuple):
    """An image on the device, and what its labels are judged by."""

    image: "torch.Tensor"  # shape (lines, width); uint16 [DN]
    # the most that is expected of a sample [e]; then of each mark in turn electrons with all faults
    # and its own, both over its reach, and its cover over its samples; one behind the other
    reported: "torch.Tensor"


def scanned(jobs: Sequence[Job], device: "torch.device") -> list[Scanned]:
    """
    Make some images.

    Parameters
    ----------
    jobs : sequence of Job
    device : torch.device; on which all of them lie

    Returns
    -------
    list of Scanned; the device may still be at work on them
    """
    import torch  # noqa: PLC0415 -- an extra

    strips = [len(job.asked.states) for job in jobs]
    states = np.concatenate([job.asked.states for job in jobs])
    most = max(min(job.asked.shape[0], STRIP_LINES) * job.asked.shape[1] for job in jobs)
    words = words_from(states, (most + 1) // 2, device)
    seen = [_seen(job, own) for job, own in zip(jobs, _covers(jobs, device), strict=True)]
    every = torch.split(words.there(), strips)
    return [
        Scanned(_image(job.asked, each[0], own), each[1])
        for job, each, own in zip(jobs, seen, every, strict=True)
    ]


def _covers(jobs: Sequence[Job], device: "torch.device") -> "list[list[torch.Tensor]]":
    """Work out the covers of all images at once; give them image by image."""
    outlines = [job.asked.outlines for job in jobs]
    some = [each for each in outlines if each is not None]
    found = iter(covers_on(together(some), device) if some else ())
    return [
        [] if each is None else [next(found) for _ in range(len(each.counts))] for each in outlines
    ]


def _seen(job: Job, covers: "list[torch.Tensor]") -> "tuple[torch.Tensor, torch.Tensor]":
    """Paint and look: give the expected electrons, and what labels are judged by."""
    asked = job.asked
    good = job.scene[_at(*asked.piece.place)]
    base = painted(good, asked.nuisances, covers) if asked.nuisances else good
    full = painted(base, asked.coats, covers)
    expected_e = _lit(job, _sampled(job, job.lens, full))
    by_mark: dict[int, list[torch.Tensor]] = {}
    # clean again after each turn
    change, cover = (full.new_zeros(full.shape if asked.marks else 0) for _ in range(2))
    for turn in range(max((mark.turn + 1 for mark in asked.marks), default=0)):
        marks = [mark for mark in asked.marks if mark.turn == turn]
        for mark in marks:
            at = _at(mark.rows, mark.columns)
            change[at] = full[at] - base[at]
            cover[at] = covers[mark.cover]
        own_e, shares = _lit(job, _sampled(job, job.lens, change)), _sampled(job, job.bare, cover)
        for mark in marks:
            reach, at = _at(*mark.reach), _at(mark.rows, mark.columns)
            by_mark[mark.number] = [expected_e[reach], own_e[reach], shares[_at(*mark.samples)]]
            change[at], cover[at] = 0, 0
    parts = [part for mark in asked.marks for part in by_mark[mark.number]]
    return expected_e, _joined([expected_e.max(), *parts])


def _sampled(job: Job, by: Packed, plane: "torch.Tensor") -> "torch.Tensor":
    """Look at a piece; over the margin that it lacks its border goes on."""
    import torch  # noqa: PLC0415 -- an extra

    below, beside = job.asked.piece.lacks
    if below or beside:
        sides = (beside, beside, 0, below)
        plane = torch.nn.functional.pad(plane[None, None], sides, mode="replicate")[0, 0]
    return by.sampled(plane)


def _at(lines: Span, columns: Span) -> tuple[slice, slice]:
    return slice(*lines), slice(*columns)


def _joined(parts: "list[torch.Tensor]") -> "torch.Tensor":
    import torch  # noqa: PLC0415 -- an extra

    return torch.cat([part.reshape(-1) for part in parts])


def _lit(job: Job, seen: "torch.Tensor") -> "torch.Tensor":
    """Bring what one electron on white has given to the station's light. [e]."""
    import torch  # noqa: PLC0415 -- an extra

    asked = job.asked
    seen_e = seen.mul_(asked.white_e)
    if asked.swing is None:
        return seen_e
    light, shares = brought(asked.swing, seen.device)
    return seen_e.mul_(1 + torch.outer(light, shares))


def _image(asked: Prepared, expected_e: "torch.Tensor", words: "torch.Tensor") -> "torch.Tensor":
    """Draw the numbers of an image."""
    noise = asked.noise
    image = numbers(
        replace(noise, tables=brought(noise.tables, expected_e.device)), expected_e, words
    )
    return applied(image, noise.corrected)
