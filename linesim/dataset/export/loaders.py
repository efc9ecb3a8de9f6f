"""What common loaders read beside the tables: a list of classes, lines of JSON."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.record import Record, class_names

GOOD, UNSEEN, SEVERAL = "good", "unlabelled", "several"
"""Folders of images without faults, with faults but no label, with labels of several kinds."""


def data_text(plan: Plan) -> str:
    """Write what a trainer of boxes is told: where each split is, and the classes (YAML)."""
    lines = [
        f"{split}: images/{split}"
        for split in SPLITS
        if any(plan.split(index) == split for index in range(plan.count))
    ]
    names = [f"  {k}: {json.dumps(name)}" for k, name in enumerate(class_names(plan))]
    return "\n".join(["# simulated by linesim", *lines, "names:", *names, ""])


def metadata_line(record: Record) -> Mapping[str, Any]:
    """Say in one line what an image is and where its faults are."""
    labelled = [each for each in record["faults"] if each["labelled"]]
    return {
        "file_name": Path(record["image"]).name,
        "simulated": True,
        "split": record["split"],
        "label": class_folder(record),
        "scene": record["scene"],
        "width": record["width"],
        "height": record["height"],
        **{name: record[name] for name in ("black_dn", "white_dn") if name in record},
        "objects": {
            "id": list(range(len(labelled))),
            "category": [each["kind"] for each in labelled],
            "bbox": [each["bbox"] for each in labelled],
            "area": [each["area_px"] for each in labelled],
            "visible": [each["visible"] for each in labelled],
            "dprime": [each["dprime"] for each in labelled],
        },
    }


def class_folder(record: Record) -> str:
    """Name the folder of an image: what its labels are."""
    kinds = {each["kind"] for each in record["faults"] if each["labelled"]}
    if len(kinds) > 1:
        return SEVERAL
    if kinds:
        return str(kinds.pop()).replace(" ", "_")
    return UNSEEN if record["faults"] else GOOD
