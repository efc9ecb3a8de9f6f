"""How much a set will take on the disk, and whether it fits."""

import shutil
from pathlib import Path

import numpy as np

from linesim.dataset.draw import Taken, taken
from linesim.dataset.layout import files_of
from linesim.dataset.plan.plan import Plan
from linesim.setup.channels import COLOURS
from linesim.setup.errors import refuse

_LOOKED_AT = 64
_BYTE_BITS = 8
_MASK_SHARE = 0.1
"""Bytes of a packed class mask over its samples, at most; measured 0.01 on the built-in plan."""
_RECORD_BYTES, _FAULT_BYTES = 1500, 2500
"""Of records and tables, an image and a fault; measured 1200 and 1400, boxes with them."""
_BLOCK_BYTES = 4096
"""A file takes whole blocks."""


def need_bytes(plan: Plan) -> int:
    """Estimate what a set takes, from the sizes of some images; noise hardly can be packed."""
    looked = np.unique(np.linspace(0, plan.count - 1, min(_LOOKED_AT, plan.count)).astype(int))
    shots = [taken(plan, int(index)) for index in looked]
    samples = float(np.mean([shot.width_px * shot.lines for shot in shots]))
    image = float(np.mean([_image_bytes(shot, shot.setup.camera.bit_depth) for shot in shots]))
    faults = sum(float(np.mean(each.counts)) for each in plan.faults.wanted)
    texts = _RECORD_BYTES + faults * (1 - plan.images.good_share) * _FAULT_BYTES
    files = len(files_of(plan, 0))
    own = plan.images
    copies = own.folders + bool(own.shard_images) + bool(own.parquet_images)
    shown = float(np.mean([_image_bytes(shot, _shown_bits(plan, shot)) for shot in shots]))
    pictures = shown * (1 + copies) + image * plan.images.has_samples
    masks = samples * _MASK_SHARE * (1 + copies)
    return round(plan.count * (pictures + masks + texts + (files + 2 * copies) * _BLOCK_BYTES))


def _shown_bits(plan: Plan, shot: Taken) -> int:
    own = shot.setup.camera.bit_depth
    return own if plan.images.stretch == "none" else plan.images.stretch_bits


def _image_bytes(shot: Taken, bits: int) -> int:
    colours = 1 if shot.setup.camera.kind == "mono" else len(COLOURS)
    return shot.width_px * shot.lines * colours * (2 if bits > _BYTE_BITS else 1)


def refuse_without_room(plan: Plan, folder: Path, share: float = 1.0) -> int:
    """Refuse a set that does not fit on its disk."""
    needed = need_bytes(plan)
    there = next(each for each in (folder, *folder.absolute().parents) if each.exists())
    free = shutil.disk_usage(there).free
    if needed * share > free:
        refuse(
            f'output "{folder}": {plan.count} images need some {needed * share / 1e9:.3g} GB, and '
            f"{free / 1e9:.3g} GB are free there; expected fewer images (--count), smaller ones, "
            "or another disk"
        )
    return needed
