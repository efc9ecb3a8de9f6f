"""
Whole scans made with the help of a device, with the noise that numpy draws.

The device takes the first half of the forward model, light to expected electrons. The second half
draws from numpy's own random streams: on a graphics processor for the usual camera (``drawn``),
else by numpy itself, strip by strip. So a sample differs from the numpy path's only where the
expected electrons, equal to float32 rounding, fall to the two sides of a step of the numbers: the
share of samples that differ by 1 DN is the mean difference before rounding, in DN.
"""

from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from linesim.forward.capture import Capturer, capturer, keeps_pixels_apart
from linesim.forward.channels import channels
from linesim.forward.device.drawn import Draw, draw_on
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

if TYPE_CHECKING:
    import torch

Put = Callable[[int, NDArray[np.uint16]], None]
"""Takes the number of a line, and delivered samples from there on."""
_RUN_SAMPLES = 1 << 24
"""Expected electrons that are worked out at once, twice as many on a graphics processor."""


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
            for own, seen in _one_ahead(runs.seen(range(lines))):
                at = slice(own.start, own.stop)
                made = runs.delivered(own, seen, pool).reshape(len(own), *shape[1:])
                _by_strips(pool, partial(_copied, image[at], made), len(own))
                runs.expected(seen, pool, expected[at])
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

    def seen(self, of: range) -> Iterator["Run"]:
        """Give the lines of a run, and what each channel sees of it."""
        renderer = self.renderer
        columns = max(channel.sampler.width for channel in renderer.channels)
        looks = max(len(channel.see.looks) for channel in renderer.channels)
        samples = _RUN_SAMPLES << (1 if renderer.device.type == "cuda" else 0)
        step = max(1, samples // (columns * looks * STRIP_LINES)) * STRIP_LINES
        for first in range(of.start, of.stop, step):
            lines = range(first, min(first + step, of.stop))
            with _within_memory(renderer.device.type):
                draws = [self._draw(index, lines) for index in range(len(self.halves))]
                window = renderer.windows([first], len(lines), [self.seed])
                yield lines, [Seen(window.pixels_e(k)[:, 0], each) for k, each in enumerate(draws)]

    def _draw(self, index: int, lines: range) -> Draw | None:
        """Have random words made on a graphics processor; on the processor numpy draws faster."""
        on, half = self.renderer.device, self.renderer.channels[index]
        if on.type == "cpu":
            return None
        shape = len(half.see.looks), half.sampler.width
        return draw_on(half.noise, self.halves[index], lines, shape, on)

    def delivered(
        self, lines: range, seen: list["Seen"], pool: ThreadPoolExecutor
    ) -> NDArray[np.uint16]:
        """Take a run through the second half, of shape (lines, width) or (lines, width, 3)."""
        with _within_memory(self.renderer.device.type):
            drawn = [each.drawn_dn() for each in seen]
        if len(seen) == 1 and drawn[0] is not None:
            return _here(drawn[0])
        image = np.empty((len(lines), self.width, len(seen)), dtype=np.uint16)
        for index, (each, drawn_dn) in enumerate(zip(seen, drawn, strict=True)):
            own = _here(each.pixel_e if drawn_dn is None else drawn_dn)
            keep = self.halves[index] if drawn_dn is None else None
            _by_strips(pool, partial(_taken, image[:, :, index], own, keep, lines), len(lines))
        return image[:, :, 0] if len(seen) == 1 else image

    def expected(self, seen: list["Seen"], pool: ThreadPoolExecutor, into: ImageArray) -> None:
        """Bring over what the delivered pixels of a run expect. [e]."""
        for index, (each, keep) in enumerate(zip(seen, self.halves, strict=True)):
            own = _here(each.pixel_e)
            _by_strips(pool, partial(_joined_into, into[:, :, index], own, keep.across), len(into))

    def filled(self, of: range, put: Put, workers: int | None) -> Generator[int]:
        """Hand lines on, from a whole strip to the end of the scan; tell how many are done."""
        with one_thread_each(workers) as pool:
            for lines, seen in _one_ahead(self.seen(of)):
                put(lines.start, self.delivered(lines, seen, pool))
                yield lines.stop


class Seen(NamedTuple):
    """What one channel expects of a run, on the device, and the noise that is to come to it."""

    pixel_e: "torch.Tensor"  # shape (looks, lines, columns) [e]
    draw: Draw | None  # None where numpy draws

    def drawn_dn(self) -> "torch.Tensor | None":
        """Give the numbers, or None where numpy draws."""
        return None if self.draw is None else self.draw.image(self.pixel_e[0])


Run = tuple[range, list[Seen]]
"""Lines, and what each channel sees of them."""


def _one_ahead(runs: Iterator[Run]) -> Iterator[Run]:
    """Hand runs on once the next is begun, so that the device has work while one is fetched."""
    last: deque[Run] = deque()
    for run in runs:
        last.append(run)
        if len(last) > 1:
            yield last.popleft()
    yield from last


def _here(data: "torch.Tensor") -> NDArray[Any]:
    """Bring what lies on a device to this process; by way of memory that it can reach itself."""
    import torch  # noqa: PLC0415 -- an extra

    if data.device.type != "cuda":
        return np.asarray(data.cpu().numpy())
    here = torch.empty(data.shape, dtype=data.dtype, pin_memory=True)
    return np.asarray(here.copy_(data).numpy())


def _by_strips(pool: ThreadPoolExecutor, task: Callable[[slice], None], lines: int) -> None:
    """Run a task on each strip of a run, in threads."""
    for _ in pool.map(task, (slice(k, k + STRIP_LINES) for k in range(0, lines, STRIP_LINES))):
        pass


def _taken(
    plane: NDArray[np.uint16], own: NDArray[Any], keep: Capturer | None, lines: range, at: slice
) -> None:
    """Take some lines as they are, or through the second half."""
    strip = (lines.start + at.start) // STRIP_LINES
    plane[at] = own[at] if keep is None else keep.strip(own[:, at], strip)


def _copied(into: NDArray[Any], own: NDArray[Any], at: slice) -> None:
    into[at] = own[at]


def _joined_into(plane: ImageArray, own: ImageArray, across: int, at: slice) -> None:
    plane[at] = joined(own[:, at], across)


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
