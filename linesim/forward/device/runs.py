"""
A scan in runs of whole strips: each begun on a device as soon as it can be, and fetched in order.

While a run is sampled the one before comes over, and the random words of those after are made. With
several devices the runs are dealt over them in turn, which changes no byte.
"""

from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from linesim.forward.capture import Capturer
from linesim.forward.device.choice import on_device
from linesim.forward.device.drawn import Draw, draw_on
from linesim.forward.device.fetch import Fetch, fetch
from linesim.forward.device.render import DeviceRenderer
from linesim.forward.device.words import QUEUES
from linesim.forward.render import joined, one_thread_each
from linesim.forward.transport import STRIP_LINES
from linesim.setup.arrays import ImageArray

if TYPE_CHECKING:
    import torch

Put = Callable[[int, NDArray[np.uint16]], None]
"""Takes the number of a line, and delivered samples from there on."""
_RUN_SAMPLES = 1 << 24
"""Expected electrons that are worked out at once, twice as many on a graphics processor."""


class Seen(NamedTuple):
    """What one channel expects of a run, and its numbers where the device draws them."""

    pixel_e: Fetch  # shape (exposures, lines, columns) [e]
    draw: Draw | None  # None where numpy draws
    image: Fetch | None  # shape (lines, columns), as though no well were near [DN]
    peak_e: Fetch | None  # the most of pixel_e [e]

    def image_dn(self) -> NDArray[np.uint16] | None:
        """Give the numbers, or None where numpy must draw: without a device's, or near wells."""
        if self.draw is None or self.image is None or self.peak_e is None:
            return None
        return self.image.here() if self.draw.noise.is_far(float(self.peak_e.here())) else None


class Run(NamedTuple):
    """Some lines on their way."""

    lines: range
    seen: tuple[Seen, ...]  # one a channel


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DeviceRuns:
    """A station whose first half is on one device or several, ready for any run of strips."""

    renderers: tuple[DeviceRenderer, ...]  # one a device
    halves: tuple[Capturer, ...]  # the second half of each channel
    seed: int
    width: int  # delivered pixels

    def begun(self, of: range, *, electrons: bool = False) -> Iterator[Run]:
        """Begin runs some ahead of the one handed on; with their electrons on the way, if asked."""
        devices, waiting = len(self.renderers), deque[Run]()
        parts = self._parts(of)
        draws = [deque[list[Draw | None]]() for _ in self.renderers]
        for turn, lines in enumerate(parts):
            at = turn % devices
            ahead = range(turn + devices * len(draws[at]), len(parts), devices)
            for later in islice(ahead, QUEUES - len(draws[at])):
                draws[at].append(self._draws(later, parts[later]))
            waiting.append(self._run(at, lines, draws[at].popleft(), electrons=electrons))
            if len(waiting) > devices:
                yield waiting.popleft()
        yield from waiting

    def _parts(self, of: range) -> list[range]:
        """Cut lines into runs: the same for any number of devices, as sums of the last bit are."""
        first = self.renderers[0]
        columns = max(channel.sampler.width for channel in first.channels)
        exposures = max(len(channel.see.exposures) for channel in first.channels)
        samples = _RUN_SAMPLES << (1 if first.device.type == "cuda" else 0)
        step = max(1, samples // (columns * exposures * STRIP_LINES)) * STRIP_LINES
        return [range(k, min(k + step, of.stop)) for k in range(of.start, of.stop, step)]

    def _draws(self, turn: int, lines: range) -> list[Draw | None]:
        """Have random words made, where the device draws."""
        place, at = divmod(turn, len(self.renderers))
        renderer, found = self.renderers[at], list[Draw | None]()
        for keep, half in zip(self.halves, renderer.channels, strict=True):
            shape = len(half.see.exposures), half.sampler.width
            with on_device(renderer.device):
                given = (half.noise, keep, lines, shape, renderer.device)
                found.append(draw_on(*given, queue=place) if draws_on(renderer.device) else None)
        return found

    def _run(self, at: int, lines: range, draws: list[Draw | None], *, electrons: bool) -> Run:
        """Begin one."""
        renderer = self.renderers[at]
        with on_device(renderer.device):
            window = renderer.windows([lines.start], len(lines), [self.seed])
            seen = []
            for channel, draw in enumerate(draws):
                pixel_e = window.pixels_e(channel)[:, 0]
                numbers = None if draw is None else fetch(draw.numbers(pixel_e[0]))
                peak_e = None if draw is None else fetch(pixel_e.max())
                wanted = electrons or draw is None
                seen.append(Seen(fetch(pixel_e, begin=wanted), draw, numbers, peak_e))
        return Run(lines, tuple(seen))

    def delivered(self, run: Run, pool: ThreadPoolExecutor) -> NDArray[np.uint16]:
        """Take a run through the second half, of shape (lines, width) or (lines, width, 3)."""
        drawn = [each.image_dn() for each in run.seen]
        if len(drawn) == 1 and drawn[0] is not None:
            return drawn[0]
        lines = run.lines
        image = np.empty((len(lines), self.width, len(drawn)), dtype=np.uint16)
        for index, (each, drawn_dn) in enumerate(zip(run.seen, drawn, strict=True)):
            own = each.pixel_e.here() if drawn_dn is None else drawn_dn
            keep = self.halves[index] if drawn_dn is None else None
            by_strips(pool, partial(_taken, image[:, :, index], own, keep, lines), len(lines))
        return image[:, :, 0] if len(drawn) == 1 else image

    def expected(self, run: Run, pool: ThreadPoolExecutor, into: ImageArray) -> None:
        """Bring over what the delivered pixels of a run expect. [e]."""
        for index, (each, keep) in enumerate(zip(run.seen, self.halves, strict=True)):
            own = each.pixel_e.here()
            by_strips(pool, partial(_joined_into, into[:, :, index], own, keep.across), len(into))

    def filled(self, of: range, put: Put, workers: int | None) -> Generator[int]:
        """Hand lines on, from a whole strip to the end of the scan; tell how many are done."""
        with one_thread_each(workers) as pool:
            for run in self.begun(of):
                put(run.lines.start, self.delivered(run, pool))
                yield run.lines.stop


def draws_on(device: "torch.device") -> bool:
    """Tell whether a device draws numpy's noise faster than numpy."""
    return device.type == "cuda"


def by_strips(pool: ThreadPoolExecutor, task: Callable[[slice], None], lines: int) -> None:
    """Run a task on each strip of a run, in threads."""
    for _ in pool.map(task, (slice(k, k + STRIP_LINES) for k in range(0, lines, STRIP_LINES))):
        pass


def _taken(
    plane: NDArray[np.uint16], own: NDArray[Any], keep: Capturer | None, lines: range, at: slice
) -> None:
    """Take some lines as they are, or through the second half."""
    strip = (lines.start + at.start) // STRIP_LINES
    plane[at] = own[at] if keep is None else keep.strip(own[:, at], strip)


def _joined_into(plane: ImageArray, own: ImageArray, across: int, at: slice) -> None:
    plane[at] = joined(own[:, at], across)
