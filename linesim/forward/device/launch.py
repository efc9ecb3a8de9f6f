"""What the kernels for graphics processors are given: packed matrices, sizes, and the launch."""

from dataclasses import dataclass, replace
from importlib.util import find_spec
from typing import TYPE_CHECKING

import numpy as np

from linesim.forward.device.packing import Packed, Room, packed, scale_for
from linesim.forward.device.tables import Band
from linesim.forward.device.tiles import best_size, cut
from linesim.forward.sampling.across import brought_inside

if TYPE_CHECKING:
    import torch

_ALIGN = 8
"""Columns of the reference to which windows are brought: 16 bytes, a copy's unit on the chip."""
_STRIDE = 16
_SPLIT_AT_ONCE = 1 << 25
"""Pixels: each needs four more bytes while it is split."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """
    How the kernel cuts its work; only its speed hangs on it.

    See tests/bench/README.md for the speed of others. Tiles of other heights sum in another order:
    a window may differ from the whole scan in the last bit.
    """

    lines: int = 64
    columns: int = 64
    rows_at_once: int = 32
    columns_at_once: int = 64
    warps: int = 4
    stages: int = 3
    group: int = 8


def form_for(device: "torch.device") -> Form:
    """Give the form that measured fastest on chips of kind 9.0; others may lack the room for it."""
    import torch  # noqa: PLC0415 -- an extra

    wide = device.type == "cuda" and torch.cuda.get_device_capability(device) == (9, 0)
    return Form(columns_at_once=128) if wide else Form()


def kernels_run_on(device: "torch.device") -> bool:
    """Tell whether the kernels can be compiled for a device."""
    import torch  # noqa: PLC0415 -- an extra

    if device.type != "cuda" or find_spec("triton") is None:
        return False
    return torch.cuda.get_device_capability(device)[0] >= 8  # noqa: PLR2004 -- has the instructions


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Kernels:
    """The across matrix of one channel and its reference, ready for any lines."""

    plane: "torch.Tensor"  # shape (rows, columns); or split, as `halves` gives it
    shape: tuple[int, int]  # of the reference
    repeat: bool
    width: int
    columns: Packed
    scale: float
    form: Form

    def lines_per_tile(self, band: Band) -> int:
        """Say how many lines make a tile."""
        return best_size(band, self.form.lines, self.form.rows_at_once)

    def prepared(self, band: Band, used: int) -> Packed:
        """Bring the along matrix of some lines to the device."""
        room = Room(
            size=self.form.lines,
            step=self.form.rows_at_once,
            total=0 if self.repeat else self.shape[0],
        )
        return packed(cut(band, used), room, self.plane.device)

    def split(self) -> "Kernels":
        """Hold the reference split, for many scans of it."""
        return replace(self, plane=self.halves())

    def halves(self) -> "torch.Tensor":
        """
        Split the scaled reference into high and low halves of 16 bits, filled up for whole windows.

        Returns
        -------
        tensor of float16, shape (2, rows, columns and more)
        """
        import torch  # noqa: PLC0415 -- an extra

        if self.plane.dtype == torch.float16:
            return self.plane
        rows, total = self.shape
        wide = _filled(self.shape, self.columns.seen, repeat=self.repeat)
        beyond = brought_inside(np.arange(total, wide), total, repeat=self.repeat)
        index = torch.as_tensor(beyond).to(self.plane.device, non_blocking=True)
        made = self.plane.new_empty((2, rows, wide), dtype=torch.float16)
        step = max(_SPLIT_AT_ONCE // total, 1)
        for first in range(0, rows, step):
            part = self.plane[first : first + step] * self.scale
            high, low = made[:, first : first + step]
            high[:, :total] = part
            low[:, :total] = part.sub_(high[:, :total])
        made[:, :, total:] = made[:, :, index]
        return made

    def sampled(self, along: Packed, lines: int) -> "torch.Tensor":
        """Give the expected electrons of those lines, of shape (lines, columns). [e]."""
        import torch  # noqa: PLC0415 -- an extra

        seen = self.halves()
        out = self._launched(seen, along, 0, lines)
        for group in range(1, len(along.parts)):
            out = torch.add(out, self._launched(seen, along, group, lines))
        return out

    def _launched(
        self, seen: "torch.Tensor", along: Packed, group: int, lines: int
    ) -> "torch.Tensor":
        """Run the kernel for up to three lens terms."""
        import torch  # noqa: PLC0415 -- an extra

        from linesim.forward.device import kernels as torch_kernels  # noqa: PLC0415 -- needs Triton

        form, across = self.form, self.columns
        out = torch.empty((lines, self.width), dtype=torch.float32, device=seen.device)
        tiles_y, tiles_x = len(along.low), len(across.low)
        programs = -(-tiles_x // form.group) * form.group * tiles_y
        weights_y, weights_x = along.parts[group], across.parts[group]
        torch_kernels._sampled[(programs,)](  # noqa: SLF001 -- the compiler's, not Python's to call
            *(seen, along.low, along.which, weights_y, across.low, across.which, weights_x),
            *(out, self.shape[0], seen.stride(1), lines, self.width, tiles_y, tiles_x),
            *(1 / along.scale, 1 / (self.scale * across.scale)),
            REPEAT=self.repeat,
            INSIDE=along.inside,
            ALIGN=across.align,
            MORE=weights_y.shape[1] - 1,
            USED_Y=along.used,
            USED_X=across.used,
            SIZE_Y=form.lines,
            SIZE_X=form.columns,
            SEEN_Y=along.seen,
            SEEN_X=across.seen,
            STEP_Y=form.rows_at_once,
            STEP_X=form.columns_at_once,
            GROUP=form.group,
            num_warps=form.warps,
            num_stages=form.stages,
        )
        return out


def kernels(
    plane: "torch.Tensor",
    across: Band,
    *,
    repeat: bool,
    form: Form,
    most: float | None = None,
) -> Kernels:
    """
    Bring the across matrix to the device.

    Parameters
    ----------
    plane : tensor of shape (rows, columns); the reference
    across : Band
    repeat : bool
    form : Form
    most : float, optional; what no value of the reference exceeds; left out: they are looked at
    """
    used = best_size(across, form.columns, form.columns_at_once, _ALIGN - 1)
    tiles, shape = cut(across, used), (plane.shape[0], plane.shape[1])
    step = form.columns_at_once
    seen = -(-(tiles.dense.shape[3] + _ALIGN - 1) // step) * step
    room = Room(
        size=form.columns,
        step=step,
        total=shape[1] if repeat else _filled(shape, seen, repeat=False),
        align=_ALIGN,
        turned=True,
        around=repeat,
    )
    if most is None:
        most = max(map(abs, map(float, plane.aminmax())))
    return Kernels(
        plane=plane,
        shape=shape,
        repeat=repeat,
        width=len(across.first),
        columns=packed(tiles, room, plane.device),
        scale=scale_for(most),
        form=form,
    )


def _filled(shape: tuple[int, int], seen: int, *, repeat: bool) -> int:
    """Count the columns of a reference in which every window lies inside."""
    wide = shape[1] + seen if repeat else max(shape[1], seen)
    return -(-wide // _STRIDE) * _STRIDE
