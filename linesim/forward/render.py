"""
The forward model: reference in, delivered samples out.

light -> lens -> transport -> sampling | collect -> binning -> read -> digitise

The first half (``expose``) builds small tables and samples the reference with them: expected
electrons. The second half (``capture``) gives them their noise and turns them into numbers. Work is
cut into strips of 64 lines counted from line 0, each with random streams of its own, so block size
and number of threads never change a byte.
"""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.forward.capture import Capturer, capturer, keeps_pixels_apart
from linesim.forward.channels import channels
from linesim.forward.expose import Exposer, exposer
from linesim.forward.reference import Reference
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.forward.transport import STRIP_LINES
from linesim.setup.arrays import ImageArray
from linesim.setup.setup import Setup


@contextmanager
def one_thread_each(workers: int | None) -> Iterator[ThreadPoolExecutor]:
    """
    Give a pool for whole strips, with one thread in every matrix product.

    Parameters
    ----------
    workers : int or None
        Threads; the processor's own number if ``None``.

    Yields
    ------
    concurrent.futures.ThreadPoolExecutor
        The pool.
    """
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 -- not needed for --help

    with (
        threadpool_limits(limits=1, user_api="blas"),
        ThreadPoolExecutor(max_workers=workers or os.cpu_count() or 1) as pool,
    ):
        yield pool


def each_strip(
    lines: int, task: Callable[[int, int, int], None], workers: int | None = None
) -> None:
    """
    Run a task on every strip, in threads.

    Parameters
    ----------
    lines : int
        Lines in all.
    task : callable
        Given the strip's number, its first line and one past its last.
    workers : int, optional
        Threads.
    """
    bounds = [(k, min(k + STRIP_LINES, lines)) for k in range(0, lines, STRIP_LINES)]
    with one_thread_each(workers) as pool:
        # list() waits for all and hands on the first error
        list(pool.map(lambda bound: task(bound[0] // STRIP_LINES, *bound), bounds))


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """
    What the camera delivers, and what it would deliver without noise.

    Parameters
    ----------
    image : ndarray of uint16, shape (lines, width) or (lines, width, 3)
        Delivered samples. [DN]
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
        The station.
    reference : Reference
        The target.
    lines : int
        Lines to capture.
    seed : int
        Of noise and jitter.
    workers : int, optional
        Threads; they change no byte.
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.

    Returns
    -------
    Rendered
        Samples, and the electrons expected.
    """
    halves = both_halves(setup, reference, seed, off_axis_error)
    shape = (lines, int(station(setup).geometry.image_width_px), len(halves))
    image, expected = np.empty(shape, dtype=np.uint16), np.empty(shape, dtype=np.float32)

    def task(strip: int, first: int, last: int) -> None:
        for index, half in enumerate(halves):
            see, keep = half
            pixel_e = see.strip(seed, first, last)
            expected[first:last, :, index] = joined(pixel_e, keep.across)
            image[first:last, :, index] = keep.strip(pixel_e, strip)

    each_strip(lines, task, workers)
    if len(halves) == 1:
        return Rendered(image=image[:, :, 0], expected_e=expected[:, :, 0])
    return Rendered(image=image, expected_e=expected)


def both_halves(
    setup: Setup, reference: Reference, seed: int, off_axis_error: float = OFF_AXIS_ERROR
) -> list[tuple[Exposer, Capturer]]:
    """
    Build both halves of the forward model for every channel.

    Parameters
    ----------
    setup : Setup
        The station.
    reference : Reference
        The target.
    seed : int
        Of noise and jitter.
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.

    Returns
    -------
    list of tuple
        One pair a channel.
    """
    numbers = station(setup)
    physical = keeps_pixels_apart(setup, numbers)
    return [
        (
            exposer(setup, reference, channel, physical=physical, off_axis_error=off_axis_error),
            capturer(setup, seed, channel.index, physical=physical),
        )
        for channel in channels(setup, numbers)
    ]


def joined(pixel_e: ImageArray, across: int) -> ImageArray:
    """
    Join the expected electrons of physical pixels to those of delivered ones.

    Parameters
    ----------
    pixel_e : ndarray of shape (looks, lines, columns)
        As the first half gives them. [e]
    across : int
        Columns still to be joined.

    Returns
    -------
    ndarray of shape (lines, columns / across)
        Of delivered pixels. [e]
    """
    looks, lines, columns = pixel_e.shape
    if looks == across == 1:
        summed: ImageArray = pixel_e[0]
    else:
        groups = pixel_e.reshape(looks, lines, columns // across, across)
        summed = groups.sum(axis=(0, 3))
    return summed
