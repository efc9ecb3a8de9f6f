"""
The forward model: reference in, delivered samples out.

light -> lens -> transport -> sampling | collect -> binning -> read -> digitise

The first half builds small tables and samples the reference with them: expected electrons. The
second half gives them their noise and turns them into numbers. Work is cut into strips of 64 lines
counted from line 0, each with random streams of its own, so block size and number of threads never
change a byte.
"""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.forward.binning import join_charge
from linesim.forward.collect import Pattern, band_weights, collect, pattern
from linesim.forward.digitise import digitise
from linesim.forward.lens import off_axis_share
from linesim.forward.light import line_profile
from linesim.forward.reference import Reference
from linesim.forward.sampler import add_normal_in_place
from linesim.forward.sampling import Sampler, across_tiles
from linesim.forward.spread import OFF_AXIS_ERROR, footprint, lens_spread
from linesim.forward.station import Station, station
from linesim.forward.transport import STRIP_LINES, LineTable, line_table
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup

SHOT_STREAM = 1
READ_STREAM = 2
_WELL_MARGIN = 6.0


def stream(seed: int, stage: int, channel: int, strip: int) -> np.random.Generator:
    """
    Give the random stream of one stage, channel and strip.

    Parameters
    ----------
    seed : int
        Of the run.
    stage, channel, strip : int
        Fixed numbers.

    Returns
    -------
    numpy.random.Generator
        The same whoever asks, and when.
    """
    key = (stage, channel, strip)
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(seed, spawn_key=key)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposer:
    """
    The first half, ready to give the expected electrons of any strip.

    Parameters
    ----------
    samplers : tuple of Sampler
        One a row of physical pixels, or one for the joined pixel.
    offset_um : tuple of float
        Place of each row behind the first. [µm]
    """

    samplers: tuple[Sampler, ...]
    offset_um: tuple[float, ...]

    def strip(self, lines: LineTable) -> ImageArray:
        """Give expected electrons of shape (rows, lines, columns). [e]."""
        rows = [
            sampler.strip(LineTable(lines.start_um + offset, lines.travel_um))
            for sampler, offset in zip(self.samplers, self.offset_um, strict=True)
        ]
        return np.stack(rows) if len(rows) > 1 else rows[0][None]


def exposer(
    setup: Setup,
    reference: Reference,
    *,
    physical: bool = False,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> Exposer:
    """
    Build the tables of the first half.

    Parameters
    ----------
    setup : Setup
        The station.
    reference : Reference
        The target.
    physical : bool
        Keep the physical pixels apart instead of sampling the joined ones.
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.

    Returns
    -------
    Exposer
        Ready for any strip.
    """
    numbers = station(setup)
    place = numbers.geometry
    across, along = setup.acquisition.binning if physical else (1, 1)
    width_um = float(place.object_pixel_x_um) / across
    height_um = float(place.object_pixel_y_um) / along
    lens = lens_spread(numbers.optics, min(width_um * across, height_um * along), off_axis_error)
    columns = int(place.image_width_px) * across
    middle_um = reference.shape[1] * reference.pixel_size_um / 2
    left_um = middle_um + (np.arange(columns, dtype=np.float64) - columns / 2) * width_um
    white_e = float(numbers.electrons_white) / (across * along)
    tiles = across_tiles(
        tuple(footprint(term, width_um) for term in lens.terms),
        lens.weights,
        left_um,
        width_um,
        reference,
        repeat=setup.target.repeat,
    )
    profile = np.asarray(white_e * column_profile(setup, columns), dtype=np.float32)
    sampler = Sampler(
        reference=reference,
        repeat=setup.target.repeat,
        bands=band_weights(setup).astype(np.float32),
        feet=tuple(footprint(term, height_um) for term in lens.terms),
        side_um=height_um,
        tiles=tuple(tile.scaled(profile) for tile in tiles),
    )
    return Exposer(samplers=(sampler,) * along, offset_um=tuple(np.arange(along) * height_um))


def column_profile(setup: Setup, columns: int) -> FloatArray:
    """
    Give the light at each column: the fall-off of the light along the line and of the lens.

    Parameters
    ----------
    setup : Setup
        The station.
    columns : int
        Columns across the delivered line.

    Returns
    -------
    ndarray of shape (columns,)
        Share of the signal in the middle of the line.
    """
    position = (2 * np.arange(columns) + 1) / columns - 1
    across = setup.acquisition.binning.across
    half_um = setup.camera.pixels // across * across * setup.camera.pixel_width_um / 2
    return line_profile(position, setup.light.edge_falloff) * off_axis_share(
        position * half_um, setup.magnification, setup.lens.focal_length_mm
    )


def keeps_wells_apart(setup: Setup, numbers: Station) -> bool:
    """
    Tell whether physical pixels must be kept apart because one of them could fill its well.

    Where the place of summing holds no more than one pixel, a full pixel fills it too, and the sum
    alone tells the same; otherwise a pixel must stay 6σ below its well.

    Parameters
    ----------
    setup : Setup
        The station.
    numbers : Station
        Its numbers.

    Returns
    -------
    bool
        True where expected electrons may not be joined first.
    """
    sensor = numbers.sensor
    if numbers.geometry.pixels_joined == 1 or sensor.binned_full_well_e <= sensor.full_well_e:
        return False
    peak = float(numbers.pixel_white_e) * (1 + _WELL_MARGIN * setup.camera.prnu)
    peak = peak / setup.target.white_reflectance if setup.target.white_reflectance > 0 else peak
    full = peak + float(numbers.pixel_dark_e)
    return bool(full + _WELL_MARGIN * np.sqrt(full) >= sensor.full_well_e)


@dataclass(frozen=True, slots=True, kw_only=True)
class Capturer:
    """
    The second half, ready to turn the expected electrons of any strip into numbers.

    Parameters
    ----------
    setup : Setup
        The station.
    numbers : Station
        Its numbers.
    seed : int
        Of the run.
    fixed : Pattern
        Of the pixels as they come: physical or joined.
    across : int
        Columns still to be joined.
    """

    setup: Setup
    numbers: Station
    seed: int
    fixed: Pattern
    across: int

    def strip(self, expected_e: ImageArray, strip: int) -> NDArray[np.uint16]:
        """Turn expected electrons of shape (rows, lines, columns) into DN of (lines, columns)."""
        sensor = self.numbers.sensor
        rows, _, columns = expected_e.shape
        joined = int(self.numbers.geometry.pixels_joined) // (rows * self.across)
        shot = stream(self.seed, SHOT_STREAM, 0, strip)
        response = self.fixed.response[:, None, :columns].astype(np.float32)
        drawn_e = collect(expected_e, response, joined * float(self.numbers.pixel_dark_e), shot)
        alone = self.numbers.geometry.pixels_joined == 1
        charge_e = join_charge(
            drawn_e,
            self.across,
            # pixels that were joined before fill their wells only where the sum is full too
            float(sensor.full_well_e) * joined,
            float(sensor.full_well_e if alone else sensor.binned_full_well_e),
        )
        whole = self.fixed.joined(self.across)
        charge_e += whole.offset_e[0, : charge_e.shape[1]].astype(np.float32)
        read = stream(self.seed, READ_STREAM, 0, strip)
        add_normal_in_place(charge_e, float(sensor.read_noise_e), read)
        return digitise(
            charge_e,
            float(sensor.gain_dn_e),
            float(sensor.black_level_dn),
            int(sensor.full_scale_dn),
        )


def capturer(setup: Setup, seed: int, *, physical: bool) -> Capturer:
    """
    Build the second half.

    Parameters
    ----------
    setup : Setup
        The station.
    seed : int
        Of the run.
    physical : bool
        Whether the expected electrons come for physical pixels.

    Returns
    -------
    Capturer
        Ready for any strip.
    """
    across = setup.acquisition.binning.across
    drawn = pattern(setup)
    return Capturer(
        setup=setup,
        numbers=station(setup),
        seed=seed,
        fixed=drawn if physical else drawn.joined(across),
        across=across if physical else 1,
    )


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
    image : ndarray of uint16, shape (lines, width)
        Delivered samples. [DN]
    expected_e : ndarray of float32, shape (lines, width)
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
    numbers = station(setup)
    physical = keeps_wells_apart(setup, numbers)
    see = exposer(setup, reference, physical=physical, off_axis_error=off_axis_error)
    keep = capturer(setup, seed, physical=physical)
    width = int(numbers.geometry.image_width_px)
    image = np.empty((lines, width), dtype=np.uint16)
    expected = np.empty((lines, width), dtype=np.float32)

    def task(strip: int, first: int, last: int) -> None:
        pixel_e = see.strip(line_table(setup, numbers, seed, first, last))
        expected[first:last] = (
            pixel_e.reshape(*pixel_e.shape[:2], width, -1).sum(axis=(0, 3))
            if physical
            else pixel_e[0]
        )
        image[first:last] = keep.strip(pixel_e, strip)

    each_strip(lines, task, workers)
    return Rendered(image=image, expected_e=expected)
