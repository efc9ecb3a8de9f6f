"""What common loaders read beside the tables: a list of classes, lines of JSON, folders, shards."""

import json
import tarfile
from collections.abc import Iterator, Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

from linesim.dataset.layout import folder_names, shard_name, stem
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.record import Record, class_names
from linesim.dataset.samples_in import read_record
from linesim.files.atomic import atomic_path, write_bytes

GOOD, UNSEEN, SEVERAL = "good", "unlabelled", "several"
"""Folders of images without faults, with faults but no label, with labels of several kinds."""
_MODE = 0o644


def data_text(plan: Plan) -> str:
    """Write what a trainer of boxes is told: where each split is, and the classes (YAML)."""
    lines = [
        f"{split}: images/{split}"
        for split in SPLITS
        if any(plan.split(index) == split for index in range(plan.count))
    ]
    names = [f"  {k}: {json.dumps(name)}" for k, name in enumerate(class_names(plan))]
    return "\n".join(["# simulated by linesim", *lines, "names:", *names, ""])


def metadata_line(told: Record) -> Mapping[str, Any]:
    """Say in one line what an image is and where its faults are."""
    labelled = [each for each in told["faults"] if each["labelled"]]
    return {
        "file_name": Path(told["image"]).name,
        "simulated": True,
        "split": told["split"],
        "label": class_folder(told),
        "scene": told["scene"],
        "width": told["width"],
        "height": told["height"],
        **{name: told[name] for name in ("black_dn", "white_dn") if name in told},
        "objects": {
            "id": list(range(len(labelled))),
            "category": [each["kind"] for each in labelled],
            "bbox": [each["bbox"] for each in labelled],
            "area": [each["area_px"] for each in labelled],
            "visible": [each["visible"] for each in labelled],
            "dprime": [each["dprime"] for each in labelled],
        },
    }


def class_folder(told: Record) -> str:
    """Name the folder of an image: what its labels are."""
    kinds = {each["kind"] for each in told["faults"] if each["labelled"]}
    if len(kinds) > 1:
        return SEVERAL
    if kinds:
        return str(kinds.pop()).replace(" ", "_")
    return UNSEEN if told["faults"] else GOOD


def copies(plan: Plan, told: Record) -> Iterator[tuple[str, str]]:
    """Name the copies of an image's files in folders by class, each with what it is a copy of."""
    if plan.images.folders:
        names = folder_names(told["image"], told["split"], class_folder(told))
        yield from zip(names, (told["image"], told["mask"]), strict=True)


def write_copies(plan: Plan, folder: Path) -> tuple[str, ...]:
    """Write folders by class and shards of a finished set."""
    written = []
    for index in range(plan.count):
        for name, source in copies(plan, read_record(plan, folder, index)):
            write_bytes(folder / name, (folder / source).read_bytes())
            written.append(name)
    for name, some in shards(plan):
        _write_shard(plan, folder, folder / name, some)
        written.append(name)
    return tuple(written)


def shards(plan: Plan) -> Iterator[tuple[str, list[int]]]:
    """Name the shards of a set, with the images of each."""
    most = plan.images.shard_images
    for split in SPLITS if most else ():
        indices = [index for index in range(plan.count) if plan.split(index) == split]
        for number, first in enumerate(range(0, len(indices), most)):
            yield shard_name(split, number), indices[first : first + most]


def _write_shard(plan: Plan, folder: Path, path: Path, indices: list[int]) -> None:
    """Lay the files of each image side by side, with one stem, in a tar file without dates."""
    with (
        atomic_path(path) as temporary,
        tarfile.open(temporary, "w", format=tarfile.USTAR_FORMAT) as tar,
    ):
        for index in indices:
            told = read_record(plan, folder, index)
            image, mask = (folder / told[key] for key in ("image", "mask"))
            parts = {
                image.suffix[1:]: image.read_bytes(),
                "mask.png": mask.read_bytes(),
                "json": json.dumps(metadata_line(told)).encode(),
            }
            for ending, data in parts.items():
                entry = tarfile.TarInfo(f"{stem(index)}.{ending}")
                entry.size, entry.mode = len(data), _MODE
                tar.addfile(entry, BytesIO(data))
