"""Writing images of a set: each of its files whole or not at all, the record last."""

import json
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

from linesim.dataset.item import Item, item
from linesim.dataset.layout import (
    PLAN,
    SET,
    boxes_names,
    image_name,
    mask_name,
    record_name,
    samples_names,
)
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.record import box_lines, record
from linesim.files.atomic import write_json, write_text
from linesim.files.images_out import write_png, write_tiff
from linesim.setup.errors import refuse
from linesim.workers.tasks import versions


def write_image(plan: Plan, folder: Path, index: int, device: str | None = None) -> None:
    """Make one image of a set and write its files."""
    made = item(plan, index, device)
    image_record = record(plan, made)
    image = folder / image_name(plan, index)
    if made.law is None:
        _write_samples(image, made)
    else:
        write_png(image, made.shown, as_scan=True)
    for name in samples_names(plan, index):
        _write_samples(folder / name, made)
    write_png(folder / mask_name(plan, index), made.mask, as_scan=True)
    for name in boxes_names(plan, index):
        write_text(folder / name, box_lines(plan, image_record))
    write_json(folder / record_name(plan, index), image_record)


def _write_samples(path: Path, made: Item) -> None:
    if path.suffix == ".png":
        write_png(path, made.image, as_scan=True)
    else:
        write_tiff(path, made.image, full_scale_dn=made.full_scale_dn)


def write_images(folder: str, indices: Iterable[int], device: str | None = None) -> int:
    """Make some images of the set in a folder: what a worker is asked to do."""
    home = Path(folder)
    set_text, count = (home / SET).read_text("utf-8"), 0
    plan = _plan_in(folder, set_text)
    for index in indices:
        write_image(plan, home, index, device)
        count += 1
    return count


@lru_cache(maxsize=1)
def _plan_in(folder: str, set_text: str) -> Plan:
    """Load the plan in a folder once, for as long as it is the one that the set is of."""
    plan = load_plan(Path(folder) / PLAN)
    wanted = json.loads(set_text)
    if fingerprint(plan) != wanted["fingerprint"]:
        refuse(
            f'a worker reads "{folder}/{PLAN}" otherwise than it was written; expected the '
            f"versions {_said(wanted['versions'])} there, and it has {_said(versions())}"
        )
    return plan


def _said(numbers: dict[str, str]) -> str:
    return ", ".join(f"{name} {number}" for name, number in numbers.items())
