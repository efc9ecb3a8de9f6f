"""Verifying a set: files, labels against masks, splits, and some images made again."""

import json
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.card import write_card
from linesim.dataset.checks.listing import listing_faults
from linesim.dataset.device import device_of
from linesim.dataset.labels.masks import Outline, class_mask
from linesim.dataset.labels.rle import mask_of
from linesim.dataset.layout import (
    CARD,
    PLAN,
    annotations_name,
    boxes_names,
    files_of,
    is_done,
    record_name,
    set_names,
)
from linesim.dataset.make import set_in
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.record import Record, box_lines
from linesim.dataset.samples_in import read_record, read_samples
from linesim.dataset.sums import sums
from linesim.dataset.tables_out import records, write_tables
from linesim.dataset.write import write_image
from linesim.forward.device.choice import chosen
from linesim.setup.errors import InputError, refuse
from linesim.workers.tasks import Progress

AGAIN = 8
"""Images that are made again unless another number is asked for."""
_MOST_NAMED = 50
_DAMAGE = (ArithmeticError, LookupError, MemoryError, RecursionError, TypeError, ValueError)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What verifying gave: what was looked at, made again, and the first fifty faults."""

    images: int
    labels: int
    made_again: tuple[int, ...]
    faults: tuple[str, ...]


def verify(folder: Path, again: int = AGAIN, progress: Progress | None = None) -> Verified:
    """
    Verify a finished set; so many of its images, evenly chosen, are made ``again``.

    ``progress`` gets how many are looked at. InputError if there is no set, or its plan cannot be
    read.
    """
    set_record = set_in(folder)
    if set_record is None:
        refuse(f'--verify: "{folder}" holds no set; expected a folder that linesim dataset wrote')
    try:
        plan = load_plan(folder / PLAN)
        odd = tuple(_plan_faults(plan, set_record))
    except InputError as refusal:
        plan, odd = None, refusal.faults
    if plan is None or odd:
        return _found((*listing_faults(folder, ()), *odd))
    return _verified(plan, folder, again, progress, device_of(set_record))


def _verified(
    plan: Plan, folder: Path, again: int, progress: Progress | None, device: str | None
) -> Verified:
    """Verify a set whose plan is the one that it was made by."""
    missing = [index for index in range(plan.count) if not is_done(plan, folder, index)]
    faults = [
        *listing_faults(folder, set_names(plan)),
        *(f"image {index} is not there, or not whole" for index in missing),
    ]
    labels = 0
    for index in sorted(set(range(plan.count)) - set(missing)):
        found = _if_readable(f"image {index}", partial(_record_faults, folder, plan, index))
        labels, faults = labels + found.labels, [*faults, *found.faults]
        if progress:
            progress(index + 1, plan.count)
    if missing:
        return _found(faults, plan, labels)
    for name, check in (("a record", _split_faults), ("a table or a record", _table_faults)):
        faults += _if_readable(name, partial(_alone, check, plan, folder)).faults
    picked = _chosen(plan.count, again)
    return _found([*faults, *_byte_faults(plan, folder, picked, device)], plan, labels, picked)


def _found(
    faults: Sequence[str], plan: Plan | None = None, labels: int = 0, again: tuple[int, ...] = ()
) -> Verified:
    return Verified(
        images=plan.count if plan else 0,
        labels=labels,
        made_again=again,
        faults=tuple(dict.fromkeys(faults))[:_MOST_NAMED],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What one check gave."""

    labels: int = 0
    faults: tuple[str, ...] = ()


def _if_readable(name: str, check: Callable[[], _Found]) -> _Found:
    """Take whatever a damaged file leads to for what it is: a fault of the set."""
    try:
        return check()
    except InputError as refusal:
        return _Found(faults=refusal.faults)
    except OSError as fault:
        return _Found(faults=(f'"{fault.filename}" cannot be read ({fault.strerror})',))
    except _DAMAGE:
        return _Found(faults=(f"{name} is damaged: what is written there cannot be taken apart",))


def _alone(check: Callable[[Plan, Path], Iterator[str]], plan: Plan, folder: Path) -> _Found:
    return _Found(faults=tuple(check(plan, folder)))


def _record_faults(folder: Path, plan: Plan, index: int) -> _Found:
    record = read_record(plan, folder, index)
    labels = sum(fault["labelled"] for fault in record["faults"])
    return _Found(labels=labels, faults=tuple(_label_faults(folder, plan, record)))


def _chosen(count: int, again: int) -> tuple[int, ...]:
    return tuple(sorted({round(k) for k in np.linspace(0, count - 1, min(again, count))}))


def _plan_faults(plan: Plan, set_record: dict[str, Any]) -> Iterator[str]:
    if set_record["fingerprint"] != fingerprint(plan):
        yield f"{PLAN} or a version is not what the set began with: its fingerprint differs"
    if set_record["count"] != plan.count:
        yield f"{PLAN} has {plan.count} images, the set {set_record['count']}"


def _label_faults(folder: Path, plan: Plan, record: Record) -> Iterator[str]:
    """Hold labels against the mask of classes, and box files against labels."""
    name, shape = record["image"], (record["height"], record["width"])
    mask, image = (read_samples(folder / record[key]) for key in ("mask", "image"))
    if mask.shape != shape or image.shape[:2] != shape:
        yield f"{name}: image and mask are not both of {record['width']} x {record['height']}"
        return
    labelled = [each for each in record["faults"] if each["labelled"]]
    runs = [each for each in labelled if isinstance(each["segmentation"], dict)]
    found = [_read_back(each, shape) for each in runs]
    yield from (f"{name}: {text}" for _, faults in found for text in faults)
    if len(runs) < len(labelled):
        yield from _areas(record, mask)
    elif (_classes(found, runs, shape) != mask).any():
        yield f"{name}: the mask is not that of the labels"
    for boxes in boxes_names(plan, record["index"]):
        if (folder / boxes).read_text("utf-8") != box_lines(plan, record):
            yield f"{name}: the file of boxes is not that of the labels"


def _classes(
    found: list[tuple[Outline, list[str]]], runs: list[Record], shape: tuple[int, int]
) -> NDArray[np.uint8]:
    values = [each["class_id"] + 1 for each in runs]
    return class_mask([(read[0], v) for read, v in zip(found, values, strict=True)], shape)


def _read_back(each: Record, shape: tuple[int, int]) -> tuple[Outline, list[str]]:
    """Draw one label, and compare area and box with what is written."""
    full = mask_of(each["segmentation"]["counts"], shape)
    lines, columns = np.flatnonzero(full.any(axis=1)), np.flatnonzero(full.any(axis=0))
    faults = []
    if np.count_nonzero(full) != each["area_px"] or not lines.size:
        faults.append(f"a {each['kind']}'s area is not that of its mask")
    else:
        box = [columns[0], lines[0], columns[-1] - columns[0] + 1, lines[-1] - lines[0] + 1]
        if [int(side) for side in box] != each["bbox"]:
            faults.append(f"a {each['kind']}'s box is not that of its mask")
    return Outline(line=0, column=0, mask=full), faults


def _areas(record: Record, mask: NDArray[Any]) -> Iterator[str]:
    """Compare areas by class where labels are polygons."""
    found = np.bincount(mask.ravel(), minlength=256)
    for value in range(1, 256):
        areas = sum(
            each["area_px"]
            for each in record["faults"]
            if each["labelled"] and each["class_id"] + 1 == value
        )
        if areas != found[value]:
            yield f"{record['image']}: areas of class {value - 1} are not those of the mask"


def _split_faults(plan: Plan, folder: Path) -> Iterator[str]:
    scenes = sums(records(plan, folder)).scenes
    for one, two in combinations(SPLITS, 2):
        shared = scenes[one] & scenes[two]
        if shared:
            yield f"{one} and {two} share scene {min(shared)}"


def _table_faults(plan: Plan, folder: Path) -> Iterator[str]:
    """Write all tables again, beside the set, and compare."""
    totals = sums(records(plan, folder))  # a damaged record is told by its own name
    with tempfile.TemporaryDirectory() as name:
        beside = Path(name)
        for index in range(plan.count):
            target = beside / record_name(plan, index)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes((folder / record_name(plan, index)).read_bytes())
        written = write_tables(plan, beside)
        write_card(plan, beside, totals)
        yield from _different(folder, beside, (*written, CARD))
    for split in SPLITS:
        path = folder / annotations_name(split)
        if path.is_file():
            yield from _if_readable(annotations_name(split), partial(_ids, path)).faults


def _ids(path: Path) -> _Found:
    return _Found(faults=tuple(_id_faults(path)))


def _id_faults(path: Path) -> Iterator[str]:
    document = json.loads(path.read_text("utf-8"))
    numbers = [each["id"] for each in document["annotations"]]
    images = {each["id"] for each in document["images"]}
    if numbers != list(range(1, len(numbers) + 1)):
        yield f"{path.name}: annotations are not numbered from 1"
    if not all(each["image_id"] in images for each in document["annotations"]):
        yield f"{path.name}: an annotation is of an image that is not there"


def _byte_faults(
    plan: Plan, folder: Path, again: tuple[int, ...], device: str | None
) -> Iterator[str]:
    """Make some images again, by what they were made, and compare their files byte by byte."""
    try:
        chosen(device)
    except InputError as refusal:
        yield f"no image can be made again here, for {refusal}"
        return
    with tempfile.TemporaryDirectory() as name:
        for index in again:
            write_image(plan, Path(name), index, device)
            yield from _different(folder, Path(name), files_of(plan, index))


def _different(folder: Path, beside: Path, names: tuple[str, ...]) -> Iterator[str]:
    for name in names:
        there, here = folder / name, beside / name
        if not there.is_file():
            yield f"{name} is not there"
        elif there.read_bytes() != here.read_bytes():
            yield f"{name} is not what comes out when it is made again"
