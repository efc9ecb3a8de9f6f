"""
The random words of numpy's streams, on a device.

A stream is one long chain, so one thread of the device goes along each, all strips at once; where
no kernel runs they are drawn here and brought over.
"""

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from linesim.forward.device.launch import kernels_run_on
from linesim.forward.device.states import states_of
from linesim.forward.streams import Streams

if TYPE_CHECKING:
    import torch


_LANES = 8
"""Chains that a group of threads goes along: one each would be in the way of the sampling."""
QUEUES = 4
"""Runs whose words are made side by side."""


class Words(NamedTuple):
    """Random words on their way."""

    data: "torch.Tensor"  # shape (strips, 2 words); int32, the lower half of each word first
    made: "torch.cuda.Event | None" = None  # None where they are there

    def there(self) -> "torch.Tensor":
        """Have what comes next on the device wait for them."""
        import torch  # noqa: PLC0415 -- an extra

        if self.made is not None:
            torch.cuda.current_stream(self.data.device).wait_event(self.made)
        return self.data


def words_on(
    streams: Streams, strips: range, count: int, device: "torch.device", queue: int = 0
) -> Words:
    """Have the first words of 64 bits of the streams of some strips made, in one of some queues."""
    import torch  # noqa: PLC0415 -- an extra

    if not kernels_run_on(device):
        drawn = np.stack([streams.of(strip).bit_generator.random_raw(count) for strip in strips])
        return Words(torch.from_numpy(drawn.view(np.int32)).to(device))
    from linesim.forward.device import draw_kernels  # noqa: PLC0415 -- needs Triton

    begun = torch.from_numpy(states_of(streams, strips))
    beside = _beside(device, queue % QUEUES)
    with torch.cuda.stream(beside):
        states = begun.pin_memory().to(device, non_blocking=True)
        words = torch.empty((len(strips), count), dtype=torch.int64, device=device)
        programs = (-(-len(strips) // _LANES),)
        draw_kernels._walked[programs](  # noqa: SLF001 -- the compiler's, not Python's to call
            *(states, words, len(strips), count), LANES=_LANES, num_warps=1
        )
    words.record_stream(torch.cuda.current_stream(device))  # which will read them
    return Words(words.view(torch.int32), beside.record_event())


@lru_cache
def _beside(device: "torch.device", _: int) -> "torch.cuda.Stream":
    """
    Give a queue for words.

    They need nothing of the sampling, and their chains leave nearly all of the device free to it:
    they go first.
    """
    import torch  # noqa: PLC0415 -- an extra

    return torch.cuda.Stream(device, priority=-1)  # type: ignore[no-untyped-call]  # torch gives no type
