"""
The forward model: reference in, delivered samples out.

light -> lens -> transport -> sampling | collect -> binning -> read -> digitise

The first half (``expose``) builds small tables and samples the reference with them: expected
electrons. The second half (``capture``) gives them their noise and turns them into numbers. Work is
cut into strips of 64 lines counted from line 0, each with random streams of its own, so block size
and number of threads never change a byte.
"""

import os
import sys
from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from linesim.forward.capture import Capturer, capturer, keeps_pixels_apart
from linesim.forward.expose import Exposer, exposers, seen_together
from linesim.forward.reference import Reference
from linesim.forward.sampling.placement import Placement
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.forward.transport import STRIP_LINES
from linesim.setup.arguments import checked_seed, checked_workers
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup

Halves = list[tuple[Exposer, Capturer]]
"""Both halves of the forward model, one pair a channel."""
_AHEAD = 4
"""Strips a thread that may wait to be done or fetched."""


@lru_cache(maxsize=1)
def _libraries(modules: int) -> ThreadpoolController:  # noqa: ARG001 -- none comes but with a module
    """Find the libraries that multiply matrices, anew where modules have been loaded since."""
    return ThreadpoolController()


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Hold matrix products to one thread: with more they add in another order."""
    with _libraries(len(sys.modules)).limit(limits=1, user_api="blas"):
        yield


@contextmanager
def one_thread_each(workers: int | None) -> Iterator[ThreadPoolExecutor]:
    """
    Give a pool for whole strips, with one thread in every matrix product.

    Parameters
    ----------
    workers : int or None; threads; the processor's own number if ``None``

    Yields
    ------
    concurrent.futures.ThreadPoolExecutor
    """
    workers = checked_workers(workers)
    with (
        one_blas_thread(),
        ThreadPoolExecutor(max_workers=workers or os.cpu_count() or 1) as pool,
    ):
        yield pool


def strips_in_order(
    lines: int,
    task: Callable[[int, int, int], None],
    workers: int | None = None,
    *,
    first: int = 0,
) -> Generator[int]:
    """
    Run a task on every strip, in threads, and tell how far all is done.

    Only a few strips are under way at a time, so that what waits does not grow with their number.

    Parameters
    ----------
    lines : int; lines in all
    task : callable; given the strip's number, its first line and one past its last
    workers : int, optional; threads
    first : int; line to begin with; a whole number of strips

    Yields
    ------
    int; lines that are done from line 0 on, after each strip
    """
    with one_thread_each(workers) as pool:
        ahead = _AHEAD * (workers or os.cpu_count() or 1)
        pending: deque[tuple[Future[None], int]] = deque()
        try:
            for start in range(first, lines, STRIP_LINES):
                end = min(start + STRIP_LINES, lines)
                pending.append((pool.submit(task, start // STRIP_LINES, start, end), end))
                if len(pending) > ahead:
                    yield _finished(*pending.popleft())
            while pending:
                yield _finished(*pending.popleft())
        finally:
            # after an error, or when nobody wants to go on: what has not begun shall not
            for each, _ in pending:
                each.cancel()


def _finished(strip: "Future[None]", end: int) -> int:
    """Wait for a strip, and hand on its error."""
    strip.result()
    return end


def each_strip(
    lines: int, task: Callable[[int, int, int], None], workers: int | None = None
) -> None:
    """Run a task on every strip, in threads."""
    for _ in strips_in_order(lines, task, workers):
        pass


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """
    What the camera delivers, and what it would deliver without noise.

    Parameters
    ----------
    image : ndarray of uint16, shape (lines, width) or (lines, width, 3); delivered samples [DN]
    expected_e : ndarray of float32, of the same shape
        Signal electrons before any noise, pattern or clipping. [e]
    """

    image: NDArray[np.uint16]
    expected_e: ImageArray


def render(
    setup: Setup,
    reference: Reference,
    lines: int,
    seed: int,
    *,
    workers: int | None = None,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> Rendered:
    """
    Run the whole forward model.

    Parameters
    ----------
    setup : Setup
    reference : Reference
    lines : int; lines to capture
    seed : int; of noise and jitter
    workers : int, optional; threads; they change no byte
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.
    """
    halves = both_halves(setup, reference, seed, off_axis_error)
    shape = (lines, int(station(setup).geometry.image_width_px), len(halves))
    image, expected = np.empty(shape, dtype=np.uint16), np.empty(shape, dtype=np.float32)

    def task(strip: int, first: int, last: int) -> None:
        for index, (pixel_e, keep) in enumerate(_seen(halves, seed, first, last)):
            expected[first:last, :, index] = joined(pixel_e, keep.across)
            image[first:last, :, index] = keep.strip(pixel_e, strip)

    each_strip(lines, task, workers)
    if len(halves) == 1:
        return Rendered(image=image[:, :, 0], expected_e=expected[:, :, 0])
    return Rendered(image=image, expected_e=expected)


def expected_of(
    setup: Setup,
    reference: Reference,
    delivered: FloatArray,
    placement: Placement,
    *,
    workers: int | None = None,
) -> ImageArray:
    """
    Expose any lines of a target that lies elsewhere than the setup says.

    Parameters
    ----------
    setup : Setup
    reference : Reference
    delivered : ndarray of shape (lines,); numbers of the delivered lines, rising; may be below 0
    placement : Placement; where the target lies
    workers : int, optional; threads; they change no byte

    Returns
    -------
    ndarray of float32, shape (lines, width, channels); signal before noise and limits [e]
    """
    numbers = station(setup)
    halves = exposers(setup, reference, placement=placement)
    shape = (len(delivered), int(numbers.geometry.image_width_px), len(halves))
    expected = np.empty(shape, dtype=np.float32)

    def task(_: int, first: int, last: int) -> None:
        for index, seen_e in enumerate(seen_together(halves, 0, delivered[first:last])):
            expected[first:last, :, index] = seen_e[0]

    each_strip(len(delivered), task, workers)
    return expected


def both_halves(
    setup: Setup,
    reference: Reference,
    seed: int,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> Halves:
    """
    Build both halves of the forward model for every channel.

    Parameters
    ----------
    setup : Setup
    reference : Reference
    seed : int; of noise and jitter
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.

    Returns
    -------
    list of tuple; one pair a channel
    """
    seed = checked_seed(seed)
    physical = keeps_pixels_apart(setup, station(setup))
    see = exposers(setup, reference, physical=physical, off_axis_error=off_axis_error)
    return [(each, capturer(setup, seed, each.channel.index, physical=physical)) for each in see]


def delivered_strip(halves: Halves, seed: int, bounds: tuple[int, int, int]) -> NDArray[np.uint16]:
    """
    Take one strip through all stages, for a scan that is not held in memory.

    Parameters
    ----------
    halves : list of tuple; of `both_halves`
    seed : int; of noise and jitter
    bounds : (int, int, int); the strip's number, its first line and one past its last

    Returns
    -------
    ndarray of uint16, shape (lines, width) or (lines, width, 3)
        The same samples as `render` gives. [DN]
    """
    strip, first, last = bounds
    seen = [keep.strip(pixel_e, strip) for pixel_e, keep in _seen(halves, seed, first, last)]
    return seen[0] if len(seen) == 1 else np.stack(seen, axis=2)


def _seen(
    halves: Halves, seed: int, first: int, last: int
) -> Iterator[tuple[ImageArray, Capturer]]:
    """Give the expected electrons of some lines in each channel, and its second half."""
    delivered = np.arange(first, last, dtype=np.float64)
    seen_e = seen_together([see for see, _ in halves], seed, delivered)
    return zip(seen_e, (keep for _, keep in halves), strict=True)


def joined(pixel_e: ImageArray, across: int) -> ImageArray:
    """
    Join the expected electrons of physical pixels to those of delivered ones.

    Parameters
    ----------
    pixel_e : ndarray of shape (exposures, lines, columns); as the first half gives them [e]
    across : int; columns still to be joined

    Returns
    -------
    ndarray of shape (lines, columns / across); of delivered pixels [e]
    """
    exposures, lines, columns = pixel_e.shape
    if exposures == across == 1:
        summed: ImageArray = pixel_e[0]
    else:
        groups = pixel_e.reshape(exposures, lines, columns // across, across)
        summed = groups.sum(axis=(0, 3))
    return summed
