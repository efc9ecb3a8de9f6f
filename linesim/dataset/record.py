"""What is written down of one image: plain data, from which all tables of the set are made."""

from collections.abc import Mapping
from dataclasses import asdict
from hashlib import sha256
from typing import Any

import tomli_w

from linesim.dataset.item import Instance, Item
from linesim.dataset.labels.masks import Outline
from linesim.dataset.labels.outlines import polygons
from linesim.dataset.labels.rle import placed_runs, text_of
from linesim.dataset.layout import image_name, mask_name, samples_names
from linesim.dataset.plan.plan import Plan
from linesim.dataset.stretch import law_texts
from linesim.defects.kinds import Placed
from linesim.forward.device.choice import rendered_on
from linesim.setup.load import known_keys

Record = dict[str, Any]
"""Of one image; plain data as JSON has it."""


def record(plan: Plan, made: Item) -> Record:
    """Write an image down."""
    asked = made.drawn
    shape = made.image.shape[0], made.image.shape[1]
    numbers = asked.setup
    written = {
        "simulated": True,
        "index": asked.index,
        "image": image_name(plan, asked.index),
        **dict(zip(("samples",), samples_names(plan, asked.index), strict=False)),
        "mask": mask_name(plan, asked.index),
        "split": made.split,
        "scene": plan.scenes.name(asked.scene),
        "scene_number": asked.scene,
        "scene_row": asked.piece.top,
        "scene_column": asked.piece.left,
        "width": shape[1],
        "height": shape[0],
        "bit_depth": numbers.camera.bit_depth,
        "full_scale_dn": made.full_scale_dn,
        **law_texts(made.law),
        "seed": plan.seed,
        "setup_sha256": _setup_hash(made),
        "states": dict(made.states),
        "drawn": dict(asked.changes),
        "left_out": [asdict(each) for each in asked.left_out],
        "faults": [_fault(plan, each, shape) for each in made.instances],
    }
    written |= rendered_on(made.device)
    if plan.nuisances.wanted:
        written["nuisances"] = [_placed(each) for each in asked.nuisances]
    return written


def _setup_hash(made: Item) -> str:
    """Hash the station's values as they would stand in a file; its target's image is the scene."""
    texts = made.drawn.setup.texts
    said = {name: texts[name] for name in known_keys(()) if name in texts}
    said["target"] = {key: value for key, value in said["target"].items() if key != "image"}
    return sha256(tomli_w.dumps(said).encode()).hexdigest()


def _fault(plan: Plan, each: Instance, shape: tuple[int, int]) -> dict[str, Any]:
    strength = each.strength
    written = {
        "kind": each.placed.kind,
        "class_id": each.class_id,
        **_placed(each.placed),
        "area_um2": each.area_um2,
        "cover_px": each.cover_px,
        "visible": each.visible,
        "labelled": each.outline is not None,
    }
    written |= {} if strength is None else asdict(strength)
    if each.outline is None:
        return written | {"why_unlabelled": each.why}
    return written | _label(plan, each.outline, shape)


def _placed(placed: Placed) -> dict[str, Any]:
    pose = asdict(placed.pose)
    return {
        "kind": placed.kind,
        **{name: pose[name] for name in ("x_mm", "y_mm", "turn_deg")},
        "values": _plain(placed.values),
    }


def _label(plan: Plan, outline: Outline, shape: tuple[int, int]) -> dict[str, Any]:
    drawn = polygons(outline.mask, (outline.line, outline.column)) if plan.labels.polygons else None
    counts = placed_runs(outline.mask, (outline.line, outline.column), shape)
    runs = {"size": list(shape), "counts": text_of(counts)}
    return {
        "area_px": outline.area_px,
        "bbox": list(outline.box),
        "segmentation": runs if drawn is None else drawn,
    }


def _plain(values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: list(value) if isinstance(value, tuple) else value for name, value in values.items()
    }


def box_lines(plan: Plan, image_record: Record) -> str:
    """Write the boxes of an image as text: line of its class, middle and size over the image's."""
    width, height, names = image_record["width"], image_record["height"], class_names(plan)
    lines = []
    for each in image_record["faults"]:
        if each["labelled"]:
            x, y, wide, high = each["bbox"]
            middle = (x + wide / 2) / width, (y + high / 2) / height
            sides = wide / width, high / height
            lines.append(
                f"{names.index(each['kind'])} " + " ".join(f"{v:.8f}" for v in (*middle, *sides))
            )
    return "".join(f"{line}\n" for line in lines)


def class_names(plan: Plan) -> tuple[str, ...]:
    """Name the classes of a set, a line each where boxes count them from 0."""
    return tuple(kind.name for kind in plan.faults.kinds)
