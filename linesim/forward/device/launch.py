"""What the kernels for graphics processors are given: packed matrices, sizes, and the launch."""

from dataclasses import dataclass
from importlib.util import find_spec
from typing import TYPE_CHECKING

from linesim.forward.device.packing import Packed, Room, packed, scale_for
from linesim.forward.device.tables import Band
from linesim.forward.device.tiles import best_size, cut

if TYPE_CHECKING:
    import torch

_ALIGN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """
    How a kernel cuts its work; only its speed hangs on it, and with ``exact`` its error.

    The default is the fastest of ten forms on one data-centre graphics processor with 80 GB (see
    tests/bench/README.md). Tiles of other heights sum in another order: a window may differ from
    the whole scan in the last bit.
    """

    lines: int = 32
    columns: int = 64
    rows_at_once: int = 32
    columns_at_once: int = 64
    exact: bool = True
    warps: int = 4
    stages: int = 3
    group: int = 8


def kernels_run_on(device: "torch.device") -> bool:
    """Tell whether the kernels can be compiled for a device."""
    import torch  # noqa: PLC0415 -- an extra

    if device.type != "cuda" or find_spec("triton") is None:
        return False
    return torch.cuda.get_device_capability(device)[0] >= 8  # noqa: PLR2004 -- has the instructions


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Kernels:
    """The across matrix of one channel and its reference, ready for any lines."""

    plane: "torch.Tensor"
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
            total=0 if self.repeat else self.plane.shape[0],
        )
        return packed(cut(band, used), room, self.plane.device)

    def sampled(self, along: Packed, lines: int) -> "torch.Tensor":
        """Give the expected electrons of those lines, of shape (lines, columns). [e]."""
        import torch  # noqa: PLC0415 -- an extra

        out = self._launched(along, 0, lines)
        for group in range(1, len(along.parts)):
            out = torch.add(out, self._launched(along, group, lines))
        return out

    def _launched(self, along: Packed, group: int, lines: int) -> "torch.Tensor":
        """Run the kernel for up to three lens terms."""
        from linesim.forward.device import kernels as torch_kernels  # noqa: PLC0415 -- needs Triton

        form, across = self.form, self.columns
        out = self.plane.new_empty((lines, self.width))
        tiles_y, tiles_x = len(along.low), len(across.low)
        programs = -(-tiles_x // form.group) * form.group * tiles_y
        weights_y, weights_x = along.parts[group], across.parts[group]
        torch_kernels._sampled[(programs,)](  # noqa: SLF001 -- the compiler's, not Python's to call
            *(self.plane, along.low, along.which, weights_y, across.low, across.which, weights_x),
            *(out, *self.plane.shape, self.plane.stride(0), lines, self.width, tiles_y, tiles_x),
            *(self.scale, 1 / along.scale, 1 / (self.scale * across.scale)),
            REPEAT=self.repeat,
            INSIDE=along.inside and across.inside,
            ALIGN=across.align,
            MORE=weights_y.shape[1] - 1,
            EXACT=form.exact or group > 0,
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


def kernels(plane: "torch.Tensor", across: Band, *, repeat: bool, form: Form) -> Kernels:
    """Bring the across matrix to the device."""
    total = plane.shape[1]
    align = _ALIGN if total % _ALIGN == 0 and not repeat else 1
    room = Room(
        size=form.columns,
        step=form.columns_at_once,
        total=0 if repeat else total,
        align=align,
        turned=True,
    )
    used = best_size(across, form.columns, form.columns_at_once, align - 1)
    least, most = plane.aminmax()
    return Kernels(
        plane=plane,
        repeat=repeat,
        width=len(across.first),
        columns=packed(cut(across, used), room, plane.device),
        scale=scale_for(max(float(most), -float(least))),
        form=form,
    )
