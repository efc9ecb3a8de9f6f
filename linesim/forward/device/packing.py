"""Matrices as the kernels take them: scaled, split in two halves of 16 bits, padded."""

from dataclasses import dataclass
from math import frexp
from typing import TYPE_CHECKING

import numpy as np

from linesim.forward.device.fetch import sent
from linesim.forward.device.tiles import Tiles, folded, wrapped

if TYPE_CHECKING:
    import torch

_TOP_BITS = 13
"""The largest number of a split matrix lies below 2¹³: a factor of 8 under the end of 16 bits."""
TERMS = 3
"""Lens terms of one launch."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Packed:
    """One banded matrix on the device, in tiles, split in high and low halves."""

    low: "torch.Tensor"
    which: "torch.Tensor"
    parts: tuple["torch.Tensor", ...]
    scale: float
    used: int
    seen: int
    inside: bool
    align: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Where matrices go."""

    size: int
    step: int
    total: int
    align: int = 1
    turned: bool = False
    around: bool = False  # the reference goes around, and on for a window behind its end


def packed(tiles: Tiles, room: Room, device: "torch.device") -> Packed:
    """Scale, split and pad the matrices of all tiles."""
    used, window = tiles.dense.shape[2:]
    seen = -(-(window + room.align - 1) // room.step) * room.step
    fold = wrapped if room.around else folded
    inner = fold(tiles, room.total, seen, room.align) if room.total else None
    if inner is not None:
        tiles, window = inner, seen
    scale = scale_for(float(np.abs(tiles.dense).max()))
    dense = np.zeros((*tiles.dense.shape[:2], room.size, seen), dtype=np.float32)
    np.multiply(tiles.dense, np.float32(scale), out=dense[:, :, :used, :window])
    halves = _halves(sent(dense, device))
    halves = halves.transpose(3, 4) if room.turned else halves
    low, which = (sent(each.astype(np.int32), device) for each in (tiles.low, tiles.which))
    parts = tuple(
        halves[:, first : first + TERMS].contiguous() for first in range(0, halves.shape[1], TERMS)
    )
    return Packed(
        low=low,
        which=which,
        parts=parts,
        scale=scale,
        used=used,
        seen=seen,
        inside=inner is not None,
        align=room.align if inner is not None else 1,
    )


def scale_for(value: float) -> float:
    """Give the power of two that brings a number just below the largest of a split matrix."""
    return 2.0 ** (_TOP_BITS - frexp(value)[1]) if value > 0 else 1.0


def _halves(dense: "torch.Tensor") -> "torch.Tensor":
    """Split each matrix in a high and a low half of 16 bits."""
    import torch  # noqa: PLC0415 -- an extra

    high = dense.half()
    return torch.stack([high, (dense - high.float()).half()], dim=2)
