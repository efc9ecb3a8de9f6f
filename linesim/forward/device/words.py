"""
The random words of numpy's streams, on a device.

A stream is one long chain, so one thread of the device goes along each, all strips at once; where
no kernel runs they are drawn here and brought over.
"""

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from linesim.forward.device.fetch import sent
from linesim.forward.device.launch import kernels_run_on

if TYPE_CHECKING:
    import torch


_LANES = 8
"""Chains that a group of threads goes along: one each would be in the way of the sampling."""
_STEPS = 16
"""Words that are written out without a turn of a loop between them."""
QUEUES = 4
"""Runs whose words are made side by side."""


class Words(NamedTuple):
    """Random words on their way."""

    # shape (strips, 2 words and perhaps more); int32, the lower half of each word first
    data: "torch.Tensor"
    made: "torch.cuda.Event | None" = None  # None where they are there

    def there(self) -> "torch.Tensor":
        """Have what comes next on the device wait for them."""
        import torch  # noqa: PLC0415 -- an extra

        if self.made is not None:
            torch.cuda.current_stream(self.data.device).wait_event(self.made)
        return self.data


def words_from(
    states: NDArray[np.int64], count: int, device: "torch.device", queue: int = 0
) -> Words:
    """
    Have the first words of 64 bits made of streams that begin in some states.

    Parameters
    ----------
    states : ndarray of shape (streams, 4)
    count : int; words of each
    device : torch.device
    queue : int; others go on beside it
    """
    import torch  # noqa: PLC0415 -- an extra

    if not kernels_run_on(device):
        return Words(torch.from_numpy(_drawn(states, count).view(np.int32)).to(device))
    from linesim.forward.device import draw_kernels  # noqa: PLC0415 -- needs Triton

    count = -(-count // _STEPS) * _STEPS
    beside = _beside(device, queue % QUEUES)
    with torch.cuda.stream(beside):
        there = sent(states, device)
        words = torch.empty((len(states), count), dtype=torch.int64, device=device)
        programs = (-(-len(states) // _LANES),)
        draw_kernels._walked[programs](  # noqa: SLF001 -- the compiler's, not Python's to call
            *(there, words, len(states), count), LANES=_LANES, STEPS=_STEPS, num_warps=1
        )
    words.record_stream(torch.cuda.current_stream(device))  # which will read them
    return Words(words.view(torch.int32), beside.record_event())


def _drawn(states: NDArray[np.int64], count: int) -> NDArray[np.uint64]:
    """Have numpy's generator go on from each."""
    generator = np.random.SFC64(0)
    start, drawn = generator.state, np.empty((len(states), count), dtype=np.uint64)
    for own, state in zip(drawn, states.view(np.uint64), strict=True):
        generator.state = {**start, "state": {"state": state}}
        own[:] = generator.random_raw(count)
    return drawn


@lru_cache
def _beside(device: "torch.device", _: int) -> "torch.cuda.Stream":
    """
    Give a queue for words.

    They need nothing of the sampling, and their chains leave nearly all of the device free to it:
    they go first.
    """
    import torch  # noqa: PLC0415 -- an extra

    return torch.cuda.Stream(device, priority=-1)  # type: ignore[no-untyped-call]  # torch gives no type
