"""A trial of detection: the filters of each channel, and what they give on rendered lattices."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.figures.detection import Search, ground_of
from linesim.forward.device.scans import Renders
from linesim.forward.reference import ArrayReference
from linesim.forward.sensor.linearity import meant_e
from linesim.forward.station import Station, station
from linesim.metrics.detection.ground import Ground
from linesim.metrics.detection.search import PHASES, threshold_for
from linesim.metrics.detection.sighting import alarm_threshold, detection_rate, sighting_of
from linesim.metrics.detection.texture import sampled_power
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.studies.batch.station_arrays import mapped
from linesim.studies.measure.detection.lattice import Lattice, lattice, painted

_SHIFTS = (-1, 0, 1)
"""Samples around a place in which its peak is looked for."""
PEAKS = 1e-4
"""Of noise a sample, at the lower threshold at which they can be counted."""
_COUNTED = 1_000_000
"""Samples of good product in which they are counted, at most."""
_CLIPPING = 0.999


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Filter:
    """Some filters over cells of one size."""

    # shape (filters, lines, columns); of the samples, as differences from good product [1/e]
    weights: FloatArray
    dprime: FloatArray  # shape (filters,); of the defect that each was made for


def filters(numbers: Station, base: Ground, template_e: FloatArray) -> Filter:
    """Make the best linear filter for each template."""
    noise_e2, streaks_e2 = float(np.square(base.noise_e)), float(np.square(base.streaks_e))
    lines, columns = template_e.shape[1:]
    power = np.ones((lines, columns // 2 + 1))
    if base.texture is not None:
        step_um = float(numbers.timing.line_advance_um)
        along = np.asarray(1000 * np.fft.fftfreq(lines, step_um), np.float64)[:, None]
        across_um = float(numbers.geometry.object_pixel_x_um)
        across = np.asarray(1000 * np.fft.rfftfreq(columns, across_um), np.float64)[None, :]
        seen = float(np.square(base.slope * np.asarray(base.level_e))) / noise_e2
        power = power + seen * sampled_power(numbers, base.texture, across, along)
    weights = np.fft.irfft2(np.fft.rfft2(template_e) / power, s=(lines, columns))
    of_samples = noise_e2 * np.einsum("kij,kij->k", weights, template_e)
    of_columns = streaks_e2 * np.square(weights.sum(axis=1)).sum(axis=1)
    of_lines = float(np.square(base.lines_e)) * np.square(weights.sum(axis=2)).sum(axis=1)
    spread = np.sqrt(of_samples + of_columns + of_lines)
    return Filter(
        weights=weights / spread[:, None, None],
        dprime=np.einsum("kij,kij->k", weights, template_e) / spread,
    )


def outputs(made: Filter, left_e: FloatArray) -> FloatArray:
    """Give the output of each cell's own filter."""
    return np.asarray(np.einsum("kij,kij->k", made.weights, left_e))


def best_outputs(made: Filter, left_e: FloatArray) -> FloatArray:
    """Give the largest output of a bank in each cell, within a sample of its middle."""
    shifted = [np.roll(made.weights, (y, x), axis=(1, 2)) for y in _SHIFTS for x in _SHIFTS]
    table = np.concatenate(shifted).reshape(-1, left_e[0].size)
    return np.asarray((left_e.reshape(len(left_e), -1) @ table.T).max(axis=1))


def peaks_over(made: Filter, left_e: FloatArray, level: float) -> int:
    """Count the peaks of a bank over a level in an image of good product."""
    maps = (scipy.signal.oaconvolve(left_e, one[::-1, ::-1], mode="valid") for one in made.weights)
    best = np.full(1, -np.inf)
    for each in maps:
        best = np.maximum(best, each)
    return int(np.count_nonzero((best > level) & (best == scipy.ndimage.maximum_filter(best, 3))))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Channel:
    """One channel of the trial."""

    numbers: Station
    base: Ground
    own: Filter
    bank: Filter
    closed: dict[str, float]

    def left(self, places: Lattice, image_dn: NDArray[np.uint16]) -> FloatArray:
        """Good product, its columns learnt on the lines ahead, less what was seen. [e]."""
        charge_e = self.numbers.delivered.charge_e(image_dn.astype(np.float64))
        signal_e = np.asarray(meant_e(self.numbers, charge_e)) - float(
            self.numbers.delivered_dark_e
        )
        ahead = signal_e[: places.ahead].mean(axis=0)
        fixed_e2 = float(np.square(self.base.slope * self.numbers.pattern_e(self.base.level_e)))
        learnt = fixed_e2 / (fixed_e2 + float(np.square(self.base.noise_e)) / places.ahead)
        level_e = ahead.mean() + learnt * (ahead - ahead.mean())
        return np.asarray(level_e - signal_e)


def reach_um(wanted: Search) -> float:
    """Tell how far a filter looks around, to tell texture from a defect."""
    length_um = getattr(wanted.texture, "correlation_um", 0.0)
    return 3 * float(length_um)


def lit(wanted: Search, clean: ArrayReference) -> ArrayReference:
    """Bring a target of reflectance 1 to the product's level, one a colour where they differ."""
    share = np.asarray(wanted.product, dtype=np.float32)
    data = clean.data[..., None] * share if share.ndim else clean.data * share
    return ArrayReference(data=data, pixel_size_um=clean.pixel_size_um)


def seen_e(setup: Setup, target: ArrayReference, lines: int, render: Renders) -> FloatArray:
    """Render a target without noise."""
    found = render(setup, target, lines, 0).expected_e
    return np.asarray(np.atleast_3d(found), dtype=np.float64)


def bank_e(
    setup: Setup, wanted: Search, size_um: float, around_um: float, render: Renders
) -> FloatArray:
    """Render what the defect takes at the places of the bank, without noise."""
    steps = (np.arange(PHASES) + 0.5) / PHASES - 0.5
    phases = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    numbers = station(setup)
    layout = lattice(numbers, size_um, phases, ahead=0, reach_um=around_um)
    good, bad = (
        seen_e(setup, lit(wanted, painted(numbers, layout, size_um, each)), layout.lines, render)
        for each in (0.0, float(wanted.contrast))
    )
    taken = good - bad
    each = [layout.each(taken[..., index])[: len(phases)] for index in range(taken.shape[2])]
    return np.stack(each, axis=-1)


def channel_of(
    numbers: Station,
    wanted: Search,
    size_um: float,
    place: tuple[int, Lattice],
    rendered: list[FloatArray],
    taken_e: FloatArray,
) -> Channel:
    """Make the filters of one channel."""
    index, layout = place
    alone, sought = (_ofchannel_of(each, index) for each in (numbers, wanted))
    base = ground_of(alone, sought)
    if float(base.slope) < _CLIPPING:
        refuse(
            "requirement.smallest_defect: the product clips in this light, so that no filter can "
            "be tried on it; expected less light or a darker requirement.product_reflectance"
        )
    dark_e, good_e = (layout.each(each[..., index]) for each in rendered)
    own = filters(alone, base, good_e - dark_e)
    bank = filters(alone, base, taken_e[..., index])
    seen = sighting_of(alone, base)(sought.of_width(size_um))
    threshold = alarm_threshold(alone, seen.bank, sought.false_alarms_per_m2)
    closed = {
        "closed_dprime": float(seen.dprime),
        "threshold": float(threshold),
        "closed_rate": float(detection_rate(seen, threshold)),
        "lower": float(threshold_for(seen.bank, PEAKS)),
    }
    return Channel(numbers=alone, base=base, own=own, bank=bank, closed=closed)


def searched(
    channel: Channel, layout: Lattice, images: list[NDArray[np.uint16]], index: int, turn: int
) -> tuple[FloatArray, FloatArray, FloatArray, tuple[int, int]]:
    """Search the images of one round."""
    bad, good = (channel.left(layout, each[..., index]) for each in images)
    cells = layout.each(bad), layout.each(good)
    peaks, counted = 0, 0
    if turn == 0:
        part = good[layout.ahead :][: max(1, _COUNTED // good.shape[1])]
        peaks = peaks_over(channel.bank, part, channel.closed["lower"])
        high, wide = channel.bank.weights.shape[1:]
        counted = max(0, part.shape[0] - high + 1) * max(0, part.shape[1] - wide + 1)
    return (
        outputs(channel.own, cells[0]),
        outputs(channel.own, cells[1]),
        best_outputs(channel.bank, cells[0]),
        (peaks, counted),
    )


def _ofchannel_of(part: Any, index: int) -> Any:  # noqa: ANN401 -- a station or a search
    """Take one channel out of numbers that there are several of."""

    def one(leaf: Any) -> Any:  # noqa: ANN401 -- a number, an array, a word or nothing
        return np.asarray(leaf)[..., index] if np.ndim(leaf) else leaf

    if isinstance(part, Search):
        return replace(part, product=one(part.product), brightest=one(part.brightest))
    return mapped(part, one)
