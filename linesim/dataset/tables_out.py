"""The tables of a finished set, made of its records one by one: memory does not grow with it."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from linesim.dataset.export.loaders import data_text, metadata_line
from linesim.dataset.layout import (
    CLASSES,
    DATA,
    FAULTS,
    IMAGES,
    MANIFEST,
    annotations_name,
    metadata_name,
)
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.record import Record, class_names
from linesim.dataset.samples_in import read_record
from linesim.files.atomic import atomic_path, write_text
from linesim.files.csv_out import write_csv

_IMAGE_KEYS = (
    "index",
    "image",
    "samples",
    "mask",
    "split",
    "scene",
    "scene_number",
    "scene_row",
    "scene_column",
    "width",
    "height",
    "bit_depth",
    "full_scale_dn",
    "black_dn",
    "white_dn",
    "image_bits",
    "seed",
    "setup_sha256",
)
_FAULT_KEYS = (
    "kind",
    "class_id",
    "x_mm",
    "y_mm",
    "turn_deg",
    "area_um2",
    "cover_px",
    "contrast",
    "cnr",
    "dprime",
    "camera_dprime",
    "visible",
    "labelled",
    "why_unlabelled",
    "area_px",
)
_NOTE = "Simulated scans with simulated faults, made by linesim; not photographs."
_REAL_NOTE = "Real scans with simulated faults, put in by linesim."


def records(plan: Plan, folder: Path, split: str | None = None) -> Iterator[Record]:
    """Read the records of a set."""
    for index in range(plan.count):
        if split is None or plan.split(index) == split:
            yield read_record(plan, folder, index)


def write_tables(
    plan: Plan, folder: Path, progress: Callable[[int, int], None] | None = None
) -> tuple[str, ...]:
    """Write annotations, manifest and tables."""
    jobs: list[tuple[str, Callable[[Path], None]]] = [
        *((annotations_name(split), _annotations(plan, folder, split)) for split in SPLITS),
        (MANIFEST, lambda path: _manifest(plan, folder, path)),
        (IMAGES, lambda path: _images(plan, folder, path)),
        (FAULTS, lambda path: _faults(plan, folder, path)),
    ]
    jobs += [
        (metadata_name(split), _metadata(plan, folder, split))
        for split in SPLITS
        if any(plan.split(index) == split for index in range(plan.count))
    ]
    if plan.labels.box_files:
        jobs.append((CLASSES, lambda path: _classes(plan, path)))
        jobs.append((DATA, lambda path: write_text(path, data_text(plan))))
    for done, (name, job) in enumerate(jobs):
        job(folder / name)
        if progress:
            progress(done + 1, len(jobs))
    return tuple(name for name, _ in jobs)


def _classes(plan: Plan, path: Path) -> None:
    write_text(path, "".join(f"{name}\n" for name in class_names(plan)))


def _annotations(plan: Plan, folder: Path, split: str) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        with (
            atomic_path(path) as temporary,
            temporary.open("w", encoding="utf-8", newline="\n") as out,
        ):
            for piece in coco_text(plan, lambda: records(plan, folder, split)):
                out.write(piece)

    return write


def _metadata(plan: Plan, folder: Path, split: str) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        with (
            atomic_path(path) as temporary,
            temporary.open("w", encoding="utf-8", newline="\n") as out,
        ):
            out.writelines(
                f"{_line(metadata_line(record))}\n" for record in records(plan, folder, split)
            )

    return write


def coco_text(plan: Plan, images: Callable[[], Iterator[Record]]) -> Iterator[str]:
    """Write a split as COCO instance annotations, a line each."""
    note = _REAL_NOTE if plan.scenes.real else _NOTE
    info = {"description": f"{plan.title}. {note}", "simulated": True, "seed": plan.seed}
    groups = [
        {"id": kind.class_id + 1, "name": kind.name, "supercategory": "fault"}
        for kind in plan.faults.kinds
    ]
    yield f'{{\n"info": {_line(info)},\n"licenses": [],\n"categories": [\n'
    yield ",\n".join(_line(each) for each in groups)
    yield '\n],\n"images": [\n'
    yield from _joined(_line(_coco_image(each)) for each in images())
    yield '\n],\n"annotations": [\n'
    number = 0

    def annotations() -> Iterator[str]:
        nonlocal number
        for image in images():
            for each in image["faults"]:
                if each["labelled"]:
                    number += 1
                    yield _line(_coco_fault(number, image, each))

    yield from _joined(annotations())
    yield "\n]\n}\n"


def _joined(lines: Iterator[str]) -> Iterator[str]:
    mark = ""
    for line in lines:
        yield f"{mark}{line}"
        mark = ",\n"


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _coco_image(record: Record) -> dict[str, Any]:
    return {
        "id": record["index"] + 1,
        "file_name": record["image"].rpartition("/")[2],  # in images/SPLIT, as readers expect it
        "width": record["width"],
        "height": record["height"],
        "simulated": True,
        "bit_depth": record.get("image_bits", record["bit_depth"]),
        **{name: record[name] for name in ("black_dn", "white_dn") if name in record},
        "scene": record["scene"],
    }


def _coco_fault(number: int, image: Record, fault: Record) -> dict[str, Any]:
    return {
        "id": number,
        "image_id": image["index"] + 1,
        "category_id": fault["class_id"] + 1,
        "bbox": [float(side) for side in fault["bbox"]],
        "area": float(fault["area_px"]),
        "segmentation": fault["segmentation"],
        "iscrowd": 0,
        "visible": fault["visible"],
        **{name: fault[name] for name in ("contrast", "cnr", "dprime", "camera_dprime")},
    }


def _manifest(plan: Plan, folder: Path, path: Path) -> None:
    drawn = list(dict.fromkeys(key for span in plan.spans for key in sorted(span.axis.keys)))
    header = (*_IMAGE_KEYS, "simulated", "faults", "labels", *drawn)
    write_csv(
        path,
        header,
        (
            (
                *(record.get(key) for key in _IMAGE_KEYS),
                "true",
                len(record["faults"]),
                sum(each["labelled"] for each in record["faults"]),
                *(record["drawn"].get(key) for key in drawn),
            )
            for record in records(plan, folder)
        ),
    )


def _images(plan: Plan, folder: Path, path: Path) -> None:
    header = ("image", "split", "label", "visible", "kinds", "scene", "simulated")
    write_csv(
        path,
        header,
        (
            (
                record["image"],
                record["split"],
                "defect" if record["faults"] else "good",
                _word(any(each["visible"] for each in record["faults"])),
                "; ".join(dict.fromkeys(each["kind"] for each in record["faults"])),
                record["scene"],
                "true",
            )
            for record in records(plan, folder)
        ),
    )


def _word(value: object) -> object:
    """Write truth as JSON does."""
    return str(value).lower() if isinstance(value, bool) else value


def _faults(plan: Plan, folder: Path, path: Path) -> None:
    names = list(dict.fromkeys(name for kind in plan.faults.kinds for name in kind.parameters))
    header = ("image", "split", *_FAULT_KEYS, "left", "top", "width", "height", *names)
    write_csv(
        path,
        header,
        (
            (
                record["image"],
                record["split"],
                *(_word(each.get(key)) for key in _FAULT_KEYS),
                *each.get("bbox", [None] * 4),
                *(_colours(each["values"].get(name)) for name in names),
            )
            for record in records(plan, folder)
            for each in record["faults"]
        ),
    )


def _colours(value: object) -> object:
    """Write red, green and blue into one cell."""
    return " ".join(repr(part) for part in value) if isinstance(value, list) else value
