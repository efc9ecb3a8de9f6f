"""
The visible part of a scan: expected electrons, kept while only noise or numbers change, and DN.

Where the window holds every sample and the line is not too wide, whole strips of 64 lines are drawn
at full width, so that each number is the one that the scan has there. Else the columns and lines in
the window are drawn alone: the same light, and another draw of the noise.
"""

from collections import deque
from collections.abc import Callable, Hashable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from math import ceil
from threading import Event
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.forward.capture import Capturer, capturer, keeps_pixels_apart
from linesim.forward.expose import Exposer, exposers
from linesim.forward.reference import Reference
from linesim.forward.render import joined
from linesim.forward.sampling.along import TILE_LINES
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.forward.transport import STRIP_LINES
from linesim.preview.averaged import averaged, coded
from linesim.preview.held import Held, Key
from linesim.preview.latest import SupersededError
from linesim.preview.picked import captured_columns, exposed_columns, physical
from linesim.preview.window import Part
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup

_MOST_WHOLE = 2_500_000
"""Physical samples up to which whole strips are drawn at full width."""
_BLOCK_BYTES = 192_000_000
_EXPOSERS = 4
_AT_ONCE = 2
"""Pieces of one picture that are worked on together, as there are cores; one more waits."""
_ONE_TERM = 1.0
"""Error between the lens's axes that lets a single separable term do."""
_SPARSE = 4
"""From this step on each line gets an along matrix of its own: the lines between are not seen."""
_COLUMNS_APART = 128
"""Narrow windows start on multiples of so many picked columns, so that panning keeps the noise."""
_LATER: dict[str, tuple[str, ...]] = {
    "camera": (
        "read_noise_e", "dark_current_e_s", "full_well_e", "binned_full_well_e", "dsnu_e", "prnu",
        "pattern_seed", "bit_depth", "gain_dn_e", "black_level_dn", "max_line_rate_hz", "link_mb_s",
        "line_noise_e", "taps", "column_waves", "linearity_error", "pixel_format",
    ),
    "acquisition": (
        "binning_mode", "white_balance", "flat_field", "flat_field_lines", "lines", "length_mm",
    ),
}  # fmt: skip
"""What the second half alone needs: no change of it touches the expected electrons."""


def optical_key(setup: Setup, seed: int) -> Hashable:
    """Tell what the expected electrons of a scan depend on."""
    parts = {
        name: getattr(setup.sections, name).model_copy(update=dict.fromkeys(keys))
        for name, keys in _LATER.items()
    }
    seen = setup.sections.model_copy(update={**parts, "title": "", "requirement": None})
    apart = keeps_pixels_apart(setup, station(setup))
    return seen, apart, seed if setup.transport.line_jitter_um > 0 else 0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Frame:
    """What the camera would deliver in a window."""

    image: NDArray[np.uint16]  # shape (lines, columns, channels); samples [DN], or coded means
    expected_e: ImageArray  # signal electrons before any noise, pattern or clipping [e]
    part: Part  # which samples
    as_scanned: bool  # whether these are the very numbers of the scan


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Task:
    """What is to be seen."""

    setup: Setup
    reference: Reference
    target: Hashable
    lines: int
    part: Part
    seed: int
    quick: bool = False  # whether a single term is enough of the lens
    stop: Event = field(default_factory=Event)  # set once nobody waits for it any more


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Block:
    """Lines that are drawn together: their numbers, the number of their stream, and their key."""

    delivered: FloatArray
    stream: int
    key: Hashable


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Plan:
    """Both halves for the columns that are drawn, the blocks of lines, and the window in them."""

    task: Task
    halves: tuple[tuple[Exposer, Capturer], ...]
    blocks: tuple[_Block, ...]
    columns: slice
    as_scanned: bool


class Optics:
    """The first half of the forward model, with what it gave before."""

    def __init__(self, pool: ThreadPoolExecutor) -> None:
        self._pool = pool
        self._exposers: Held[tuple[Exposer, ...]] = Held(_EXPOSERS)
        self._blocks: Held[list[ImageArray]] = Held(_BLOCK_BYTES)

    def frame(self, task: Task) -> Frame:
        """Render a window."""
        key = Key((optical_key(task.setup, task.seed), task.target, task.quick))
        exposers = self._exposers.get(key) or self._exposers.put(key, _exposers(task), 1)
        plan = _plan(task, exposers, key)
        seen_e = self._expected(plan)
        work = [
            (pixel_e, keep, block.stream, plan.columns)
            for block, channels_e in zip(plan.blocks, seen_e, strict=True)
            for pixel_e, (_, keep) in zip(channels_e, plan.halves, strict=True)
        ]
        done = list(self._each(lambda each: _captured(*each), work, task.stop))
        lines, join = _lines_in(plan), task.part.join
        whole = _stacked([each[1] for each in done], len(plan.halves))[lines]
        return Frame(
            image=coded(whole, join, task.setup.camera.bit_depth),
            expected_e=averaged(
                _stacked([each[0] for each in done], len(plan.halves))[lines], join
            ),
            part=task.part,
            as_scanned=plan.as_scanned,
        )

    def _expected(self, plan: _Plan) -> list[list[ImageArray]]:
        """Give the expected electrons of each block and channel; what is missing is worked out."""
        found = [self._blocks.get(block.key) for block in plan.blocks]
        missing = [block for block, each in zip(plan.blocks, found, strict=True) if each is None]
        task, channels_seen = plan.task, len(plan.halves)
        work = [(see, task, block.delivered) for block in missing for see, _ in plan.halves]
        fresh = list(self._each(lambda each: _exposed(*each), work, task.stop))
        for place, block in enumerate(missing):
            own = fresh[place * channels_seen : (place + 1) * channels_seen]
            size_bytes = sum(each.nbytes for each in own)
            found[plan.blocks.index(block)] = self._blocks.put(block.key, own, size_bytes)
        return [each for each in found if each is not None]

    def _each(self, act: Callable[[Any], Any], work: Sequence[Any], stop: Event) -> Iterator[Any]:
        """Do pieces of work, two at a time: those of others find a thread, and a stop is seen."""

        def one(piece: Any) -> Any:  # noqa: ANN401 -- whatever is to be done
            if stop.is_set():
                raise SupersededError
            return act(piece)

        waiting: deque[Future[Any]] = deque()
        for piece in work:
            waiting.append(self._pool.submit(one, piece))
            if len(waiting) > _AT_ONCE:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def _exposers(task: Task) -> tuple[Exposer, ...]:
    numbers = station(task.setup)
    apart = keeps_pixels_apart(task.setup, numbers)
    error = _ONE_TERM if task.quick else OFF_AXIS_ERROR
    return tuple(exposers(task.setup, task.reference, physical=apart, off_axis_error=error))


def _plan(task: Task, exposers: tuple[Exposer, ...], key: Hashable) -> _Plan:
    numbers, part = station(task.setup), task.part
    apart = keeps_pixels_apart(task.setup, numbers)
    width = int(numbers.geometry.image_width_px)
    each = exposers[0].samplers[0].tiles[-1].last // width
    samples = width * each * len(exposers[0].exposures) * len(exposers) * part.lines
    count = ceil(width / part.step)
    start, stop = _columns_drawn(part, count)
    if part.step == 1 and samples <= _MOST_WHOLE:
        start, stop = 0, count
    own = part.step * np.arange(start, stop)
    keeps = [capturer(task.setup, task.seed, e.channel.index, physical=apart) for e in exposers]
    halves = tuple(zip(exposers, keeps, strict=True))
    if len(own) < width:
        physical_columns = physical(own, each)
        halves = tuple(
            (exposed_columns(see, physical_columns), captured_columns(keep, own))
            for see, keep in halves
        )
    first = part.first_column // part.step - start
    return _Plan(
        task=task,
        halves=halves,
        blocks=tuple(_blocks(task, (key, start, stop, part.step))),
        columns=slice(first, first + part.columns),
        as_scanned=len(own) == width and part.step == 1,
    )


def _columns_drawn(part: Part, count: int) -> tuple[int, int]:
    """Widen a window to whole groups of picked columns."""
    first = part.first_column // part.step
    start = first // _COLUMNS_APART * _COLUMNS_APART
    stop = ceil((first + part.columns) / _COLUMNS_APART) * _COLUMNS_APART
    return start, min(stop, count)


def _blocks(task: Task, key: Hashable) -> Iterator[_Block]:
    """Part the picked lines of the whole scan into blocks, and take those in the window."""
    step, part = task.part.step, task.part
    first, last = part.first_line // step, part.first_line // step + part.lines
    for block in range(first // STRIP_LINES, ceil(last / STRIP_LINES)):
        ends = block * STRIP_LINES, min((block + 1) * STRIP_LINES, ceil(task.lines / step))
        lines = step * np.arange(*ends, dtype=np.float64)
        yield _Block(delivered=lines, stream=block, key=(key, ends))


def _lines_in(plan: _Plan) -> slice:
    """Tell where the window's lines lie in the blocks."""
    part = plan.task.part
    first = part.first_line // part.step - plan.blocks[0].stream * STRIP_LINES
    return slice(first, first + part.lines)


def _stacked(parts: Sequence[NDArray[Any]], colours: int) -> NDArray[Any]:
    """Lay blocks of all channels in turn below each other, and the channels side by side."""
    return np.stack([np.concatenate(parts[k::colours]) for k in range(colours)], axis=2)


def _exposed(see: Exposer, task: Task, delivered: FloatArray) -> ImageArray:
    if task.part.step < _SPARSE:
        return see.at(task.seed, delivered)
    # a tile of one line four times over spans no lines between
    seen = see.at(task.seed, np.repeat(delivered, TILE_LINES))
    return np.ascontiguousarray(seen[:, ::TILE_LINES])


def _captured(
    pixel_e: ImageArray, keep: Capturer, strip: int, columns: slice
) -> tuple[ImageArray, NDArray[np.uint16]]:
    return joined(pixel_e, keep.across)[:, columns], keep.strip(pixel_e, strip)[:, columns]
