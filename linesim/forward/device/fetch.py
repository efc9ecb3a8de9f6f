"""What goes from this process to a device and comes back, while the device works on."""

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import torch


@dataclass(frozen=True, slots=True, eq=False)
class Fetch:
    """Data of a device, perhaps on their way."""

    data: "torch.Tensor"
    copy: "torch.Tensor | None" = None  # in memory that the device reaches
    done: "torch.cuda.Event | None" = None

    def here(self) -> NDArray[Any]:
        """Wait for them."""
        begun = self if self.done is not None else fetch(self.data)
        if begun.done is None or begun.copy is None:
            return np.asarray(begun.data.cpu().numpy())
        begun.done.synchronize()
        return np.asarray(begun.copy.numpy())


def fetch(data: "torch.Tensor", *, begin: bool = True) -> Fetch:
    """Send data on their way once they are made, unless they are not to be begun with yet."""
    import torch  # noqa: PLC0415 -- an extra

    if data.device.type != "cuda" or not begin:
        return Fetch(data)
    made, beside = torch.cuda.current_stream(data.device).record_event(), _beside(data.device)
    copy = torch.empty(data.shape, dtype=data.dtype, pin_memory=True)
    with torch.cuda.stream(beside):
        beside.wait_event(made)
        copy.copy_(data, non_blocking=True)
        data.record_stream(beside)
        return Fetch(data, copy, beside.record_event())


def sent(data: NDArray[Any], device: "torch.device") -> "torch.Tensor":
    """Send data to a device, behind the work that is queued there, without waiting for that."""
    import torch  # noqa: PLC0415 -- an extra

    own = torch.from_numpy(data)
    if device.type != "cuda":
        return own.to(device)
    return own.pin_memory().to(device, non_blocking=True)


@lru_cache
def _beside(device: "torch.device") -> "torch.cuda.Stream":
    """Give a queue for copies alone."""
    import torch  # noqa: PLC0415 -- an extra

    return torch.cuda.Stream(device)  # type: ignore[no-untyped-call]  # torch gives no type
