"""
Whole scans made with the help of a device, with the noise that numpy draws.

The device takes the first half of the forward model, which is most of the work: light to expected
electrons. The second half is numpy's own, strip by strip, from its own random streams. So a sample
differs from the numpy path's only where the expected electrons, equal to float32 rounding, fall to
the two sides of a step of the numbers: the share of samples that differ by 1 DN is the mean
difference before rounding, in DN.
"""

from collections.abc import Callable, Generator, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from linesim.forward.capture import Capturer, capturer, keeps_pixels_apart
from linesim.forward.channels import channels
from linesim.forward.device.render import DeviceRenderer, device_renderer
from linesim.forward.reference import Reference
from linesim.forward.render import Rendered, joined, one_thread_each, render
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.forward.transport import STRIP_LINES
from linesim.setup.arguments import checked_seed
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup

Put = Callable[[int, NDArray[np.uint16]], None]
"""Takes the number of a line, and delivered samples from there on."""
_RUN_SAMPLES = 1 << 24
"""Expected electrons that are worked out at once: 64 MB on the device, and as much here."""


class Renders(Protocol):
    """What runs the forward model."""

    def __call__(
        self,
        setup: Setup,
        reference: Reference,
        lines: int,
        seed: int,
        *,
        workers: int | None = None,
        off_axis_error: float = OFF_AXIS_ERROR,
    ) -> Rendered:
        """Run all of it."""


def render_by(device: str | None) -> Renders:
    """
    Give what renders on a path: `linesim.forward.render.render`, or the same with a device.

    Parameters
    ----------
    device : str or None; as torch names it; None for the numpy path

    Returns
    -------
    callable; takes what `render` takes
    """
    return render if device is None else _Renderer(device)


@dataclass(frozen=True, slots=True)
class _Renderer:
    """`render` with a device."""

    device: str

    def __call__(
        self,
        setup: Setup,
        reference: Reference,
        lines: int,
        seed: int,
        *,
        workers: int | None = None,
        off_axis_error: float = OFF_AXIS_ERROR,
    ) -> Rendered:
        runs = device_runs(setup, reference, seed, self.device, off_axis_error=off_axis_error)
        shape = (lines, runs.width, len(runs.halves))
        image, expected = np.empty(shape, dtype=np.uint16), np.empty(shape, dtype=np.float32)
        with one_thread_each(workers) as pool:
            for first, last, each in runs.seen(range(lines)):
                image[first:last] = runs.delivered(first, each, pool)
                for index, (pixel_e, keep) in enumerate(zip(each, runs.halves, strict=True)):
                    expected[first:last, :, index] = joined(pixel_e, keep.across)
        if shape[2] == 1:
            return Rendered(image=image[:, :, 0], expected_e=expected[:, :, 0])
        return Rendered(image=image, expected_e=expected)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DeviceRuns:
    """A station whose first half is on a device, ready for any run of whole strips."""

    renderer: DeviceRenderer
    halves: tuple[Capturer, ...]  # the second half of each channel
    seed: int
    width: int  # delivered pixels

    def seen(self, of: range) -> Iterator[tuple[int, int, list[ImageArray]]]:
        """Give first line, one past the last, and what each channel expects, run by run. [e]."""
        columns = max(channel.sampler.width for channel in self.renderer.channels)
        looks = max(len(channel.see.looks) for channel in self.renderer.channels)
        strips = max(1, _RUN_SAMPLES // (columns * looks * STRIP_LINES))
        for first in range(of.start, of.stop, strips * STRIP_LINES):
            last = min(first + strips * STRIP_LINES, of.stop)
            with _within_memory(self.renderer.device.type):
                window = self.renderer.windows([first], last - first, [self.seed])
                each = [window.pixels_e(k)[:, 0].cpu().numpy() for k in range(len(self.halves))]
            yield first, last, each

    def delivered(
        self, first: int, seen_e: list[ImageArray], pool: ThreadPoolExecutor
    ) -> NDArray[np.uint16]:
        """Take a run through the second half, of shape (lines, width, channels). [DN]."""
        lines = seen_e[0].shape[1]
        image = np.empty((lines, self.width, len(seen_e)), dtype=np.uint16)

        def task(start: int) -> None:
            for index, (pixel_e, keep) in enumerate(zip(seen_e, self.halves, strict=True)):
                own = pixel_e[:, start : start + STRIP_LINES]
                strip = (first + start) // STRIP_LINES
                image[start : start + STRIP_LINES, :, index] = keep.strip(own, strip)

        for _ in pool.map(task, range(0, lines, STRIP_LINES)):
            pass
        return image

    def filled(self, of: range, put: Put, workers: int | None) -> Generator[int]:
        """Hand lines on, from a whole strip to the end of the scan; tell how many are done."""
        with one_thread_each(workers) as pool:
            for first, last, each in self.seen(of):
                image = self.delivered(first, each, pool)
                put(first, image[:, :, 0] if image.shape[2] == 1 else image)
                yield last


def device_runs(
    setup: Setup,
    reference: Reference,
    seed: int,
    device: str,
    *,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> DeviceRuns:
    """
    Bring a station and its reference to a device.

    Parameters
    ----------
    setup : Setup
    reference : Reference
    seed : int; of noise and jitter
    device : str; as torch names it
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.

    Raises
    ------
    InputError; where the device is not there, has too little memory, or does not carry the setup
    """
    seed, numbers = checked_seed(seed), station(setup)
    physical = keeps_pixels_apart(setup, numbers)
    with _within_memory(device):
        renderer = device_renderer(setup, reference, device=device, off_axis_error=off_axis_error)
    return DeviceRuns(
        renderer=renderer,
        halves=tuple(
            capturer(setup, seed, channel.index, physical=physical)
            for channel in channels(setup, numbers)
        ),
        seed=seed,
        width=int(numbers.geometry.image_width_px),
    )


@contextmanager
def _within_memory(device: str) -> Iterator[None]:
    """Tell in a sentence that a device has too little memory."""
    import torch  # noqa: PLC0415 -- an extra

    try:
        yield
    except torch.OutOfMemoryError:
        msg = (
            f'device: read "{device}", whose memory does not hold this target and its lines; '
            "expected a larger target.pixel_size, a smaller target, or the numpy path"
        )
        raise InputError(msg) from None
