"""Labels of an image as a network that learns to detect takes them."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.item import Instance
from linesim.dataset.labels.masks import Outline

if TYPE_CHECKING:
    import torch


class Labels(NamedTuple):
    """Labels in plain arrays, one entry a fault with a label."""

    boxes: NDArray[np.float32]  # shape (faults, 4); left, top, right, bottom
    labels: NDArray[np.int64]  # class number and one
    area: NDArray[np.float32]  # samples
    visible: NDArray[np.bool_]
    dprime: NDArray[np.float32]
    outlines: tuple[Outline, ...]


def labels_of(instances: Sequence[Instance]) -> Labels:
    """
    Take the labels out of what is known of all faults.

    Parameters
    ----------
    instances : sequence of Instance; those without a label are left out

    Returns
    -------
    Labels
    """
    pairs = [(each, each.outline) for each in instances if each.outline is not None]
    boxes = np.zeros((len(pairs), 4), dtype=np.float32)
    for k, (_, outline) in enumerate(pairs):
        left, top, width, height = outline.box
        boxes[k] = left, top, left + width, top + height
    return Labels(
        boxes=boxes,
        labels=np.array([fault.class_id + 1 for fault, _ in pairs], dtype=np.int64),
        area=np.array([outline.area_px for _, outline in pairs], dtype=np.float32),
        visible=np.array([fault.visible for fault, _ in pairs], dtype=np.bool_),
        dprime=np.array([_dprime(fault) for fault, _ in pairs], dtype=np.float32),
        outlines=tuple(outline for _, outline in pairs),
    )


def _dprime(fault: Instance) -> float:
    return 0.0 if fault.strength is None else fault.strength.dprime


def target_of(faults: Labels, shape: tuple[int, int], index: int) -> dict[str, Any]:
    """
    Give labels as tensors.

    Parameters
    ----------
    faults : Labels
    shape : (int, int); lines and samples of the image
    index : int; of the image

    Returns
    -------
    dict; boxes, labels, masks, area, iscrowd, visible, dprime, image_id
    """
    import torch  # noqa: PLC0415 -- an extra

    masks = np.zeros((len(faults.labels), *shape), dtype=np.uint8)
    for plane, outline in zip(masks, faults.outlines, strict=True):
        plane[outline.place] = outline.mask
    arrays = {
        "boxes": faults.boxes,
        "labels": faults.labels,
        "masks": masks,
        "area": faults.area,
        "iscrowd": np.zeros(len(faults.labels), dtype=np.int64),
        "visible": faults.visible,
        "dprime": faults.dprime,
    }
    return {**{key: torch.from_numpy(each) for key, each in arrays.items()}, "image_id": index + 1}


def image_of(samples: "torch.Tensor", full_scale_dn: int, *, raw: bool) -> "torch.Tensor":
    """
    Give delivered numbers as a network takes them.

    Parameters
    ----------
    samples : tensor of shape (colours, lines, width); whole numbers [DN]
    full_scale_dn : int; largest that can be [DN]
    raw : bool; leave them as they are

    Returns
    -------
    tensor of the same shape; int32, or float32 from 0 to 1
    """
    import torch  # noqa: PLC0415 -- an extra

    return samples.to(torch.int32) if raw else samples.to(torch.float32) / full_scale_dn
