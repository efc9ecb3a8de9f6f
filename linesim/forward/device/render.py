"""
The first half of the forward model on a device: the same tables, applied by torch.

Two ways to apply them: ``products``, plain torch, on any device; and ``kernels``, on a graphics
processor with Triton. Expected electrons agree with numpy's to float32, by either way.

Carried: every camera, binning, correction and light, ripple, jitter, encoder errors and lost
counts, stages of time-delay integration. Refused: what shifts lines along or across from column to
column (skew, lateral wander, flutter).
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Literal, Protocol, runtime_checkable

import numpy as np

from linesim.forward.device.choice import not_carried, on_device, there
from linesim.forward.device.launch import Form, form_for, kernels, kernels_run_on
from linesim.forward.device.noise import noise_on
from linesim.forward.device.products import full_precision, products
from linesim.forward.device.tables import across_band
from linesim.forward.device.windows import DeviceChannel, Windows, windows_of
from linesim.forward.reference import Reference
from linesim.forward.render import Halves, both_halves
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup

if TYPE_CHECKING:
    import torch

Method = Literal["auto", "kernels", "products"]
_UPLOAD_ROWS = 2048


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DeviceReference:
    """A reference that lies on a device already."""

    data: "torch.Tensor"  # shape (rows, columns) or (rows, columns, 3); linear reflectance, float32
    pixel_size_um: float  # side of one square pixel on the target [µm]

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns) or (rows, columns, 3)."""
        return tuple(self.data.shape)

    def rows(self, first: int, last: int) -> Any:  # noqa: ANN401 -- numpy gives no type back
        """Fetch some rows."""
        return self.data[first:last].cpu().numpy()


@runtime_checkable
class LitOnDevice(Protocol):
    """A reference that can be worked out on a device from parts of it."""

    def on_device(
        self, device: "torch.device", uploaded: Callable[[Reference], "torch.Tensor"]
    ) -> "torch.Tensor | None":
        """Give all of its rows there, or None where it must come by rows."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DeviceRenderer:
    """A station and its reference on a device."""

    channels: tuple[DeviceChannel, ...]
    device: "torch.device"

    def windows(self, firsts: Sequence[int], lines: int, seeds: Sequence[int]) -> Windows:
        """Place lines on the target; what can be is then exposed as often as wanted."""
        return windows_of(self.channels, firsts, lines, seeds)


def device_renderer(
    setup: Setup,
    reference: Reference,
    *,
    device: "str | torch.device" = "cuda",
    method: Method = "auto",
    form: Form | None = None,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> DeviceRenderer:
    """Bring a station and its reference to a device."""
    arguments = (setup, reference, [device], method, form, off_axis_error)
    return next(device_renderers(*arguments))


def device_renderers(
    setup: Setup,
    reference: Reference,
    devices: "Sequence[str | torch.device]",
    method: Method = "auto",
    form: Form | None = None,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> Iterator[DeviceRenderer]:
    """Bring a station and its reference to several devices; it is drawn or read once."""
    if faults := not_carried(setup):
        raise InputError(*faults)
    places = [there(each) for each in devices]
    halves = both_halves(setup, reference, 0, off_axis_error)
    # where the lens blurs widely they look at cells of the reference, all at the same ones
    seen: Reference = halves[0][0].samplers[0].reference
    for on in places:
        with on_device(on):
            data = _uploaded(seen, on)
            seen = DeviceReference(data=data, pixel_size_um=seen.pixel_size_um)
            yield _renderer(halves, data, on, method, form or form_for(on))


def _renderer(
    halves: Halves, data: "torch.Tensor", on: "torch.device", method: Method, form: Form
) -> DeviceRenderer:
    by_kernels = kernels_run_on(on) if method == "auto" else method == "kernels"
    if by_kernels and find_spec("triton") is None:
        msg = 'method: read "kernels", but Triton is not installed; expected "products" or "auto"'
        raise InputError(msg)
    made = []
    for see, keep in halves:
        band = across_band(see.samplers[0].tiles)
        plane, repeat = _plane(data, see.samplers[0].bands), see.setup.target.repeat
        made.append(
            DeviceChannel(
                see=see,
                sampler=kernels(plane, band, repeat=repeat, form=form).split()
                if by_kernels
                else products(plane, band, repeat=repeat),
                noise=noise_on(keep, on),
            )
        )
    return DeviceRenderer(channels=tuple(made), device=on)


def _uploaded(reference: Reference, device: "torch.device") -> "torch.Tensor":
    """Bring all rows to the device, some at a time."""
    import torch  # noqa: PLC0415 -- an extra

    if isinstance(reference, DeviceReference):
        return reference.data.to(device)
    if isinstance(reference, LitOnDevice):
        lit = reference.on_device(device, lambda part: _uploaded(part, device))
        if lit is not None:
            return lit
    data = torch.empty(reference.shape, dtype=torch.float32, device=device)
    for first in range(0, len(data), _UPLOAD_ROWS):
        last = min(first + _UPLOAD_ROWS, len(data))
        part = np.ascontiguousarray(reference.rows(first, last), dtype=np.float32)
        data[first:last] = torch.from_numpy(part.copy() if not part.flags.writeable else part)
    return data


def _plane(data: "torch.Tensor", bands: Any) -> "torch.Tensor":  # noqa: ANN401 -- ndarray
    """Bring a colour reference to what one channel sees of it."""
    import torch  # noqa: PLC0415 -- an extra

    if data.ndim == 2:  # noqa: PLR2004 -- rows and columns alone
        return data
    with full_precision():
        return data @ torch.as_tensor(bands, device=data.device)
