"""
The first half of the forward model: light -> lens -> transport -> sampling, to expected electrons.

Physics makes small tables here; the products that apply them to pixels are in ``sampling``.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from linesim.forward.channels import Channel, channels
from linesim.forward.lens import optics
from linesim.forward.profile import column_profile
from linesim.forward.reference import Reference
from linesim.forward.sampling.coarse import CoarseReference, coarser
from linesim.forward.sampling.fineness import least_side_um, refuse_too_fine
from linesim.forward.sampling.matrices import Made, sampler
from linesim.forward.sampling.placement import AS_SET_UP, Placement
from linesim.forward.sampling.sampler import Sampler, strips
from linesim.forward.sampling.trailed import lines_before, trailed
from linesim.forward.sampling.zones import uneven_keys
from linesim.forward.spread import OFF_AXIS_ERROR, LensSpread, lens_spread
from linesim.forward.station import Station, station
from linesim.forward.transport import LineTable, line_table
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.lens.over_field import OverField
from linesim.setup.setup import Setup

_HEIGHTS = 9
"""Heights of a fluttering web whose blur is worked out; the nearest in defocus serves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """One of the exposures that make a delivered pixel."""

    offset_um: float
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposer:
    """
    The first half for one channel, ready to give the expected electrons of any strip.

    Parameters
    ----------
    setup : Setup
    numbers : Station
    channel : Channel; which one
    exposures : tuple of Exposure; one a physical row or joined line that is kept apart
    heights_mm : ndarray of shape (n,); heights of the target that the samplers are for [mm]
    samplers : tuple of Sampler; one a height
    ambient : ndarray of shape (columns,); part of each column's light that does not flicker
    trail : tuple of float; shares of a line's charge that it and the lines behind it deliver
    placement : Placement; where the target lies
    """

    setup: Setup
    numbers: Station
    channel: Channel
    exposures: tuple[Exposure, ...]
    heights_mm: FloatArray
    samplers: tuple[Sampler, ...]
    ambient: FloatArray
    trail: tuple[float, ...] = (1.0,)
    placement: Placement = AS_SET_UP

    def strip(self, seed: int, first: int, last: int) -> ImageArray:
        """Give the expected electrons of some lines, of shape (exposures, lines, columns). [e]."""
        return self.at(seed, np.arange(first, last, dtype=np.float64))

    def at(self, seed: int, delivered: FloatArray) -> ImageArray:
        """Give the same of any delivered lines, by their numbers. [e]."""
        seen = [self._delivered(exposure, seed, delivered) for exposure in self.exposures]
        return np.stack(seen) if len(seen) > 1 else seen[0][None]

    def part(self, reference: Reference, tiles: slice) -> "Exposer":
        """Look at another reference of the same pixels, with some tiles of columns alone."""
        samplers = tuple(
            replace(each, reference=reference, tiles=each.tiles[tiles]) for each in self.samplers
        )
        return replace(self, samplers=samplers, ambient=self.ambient[: samplers[0].tiles[-1].last])

    def lines(self, exposure: Exposure, seed: int, first: int, last: int) -> LineTable:
        """Place the lines of one exposure on the target."""
        return self._placed(exposure, seed, np.arange(first, last, dtype=np.float64))

    def _delivered(self, exposure: Exposure, seed: int, delivered: FloatArray) -> ImageArray:
        """See some lines, each with what those exposed before it left."""
        if len(self.trail) == 1:
            return self._seen_e(self._placed(exposure, seed, delivered))
        joined = float(self.numbers.timing.lines_joined)
        lines = delivered * joined + exposure.line
        needed = lines_before(lines, len(self.trail) - 1)
        delayed = needed + self.channel.delay_lines * joined
        seen_e = self._seen_e(self._exposed(exposure, seed, delayed))
        return trailed(seen_e, needed, lines, self.trail)

    def _placed(self, exposure: Exposure, seed: int, delivered: FloatArray) -> LineTable:
        return self._exposed(exposure, seed, self.exposed(exposure, delivered))

    def exposed(self, exposure: Exposure, delivered: FloatArray) -> FloatArray:
        """Give the numbers of exposed lines that delivered ones are read from."""
        late = delivered + self.channel.delay_lines
        return late * float(self.numbers.timing.lines_joined) + exposure.line

    def _exposed(self, exposure: Exposure, seed: int, exposed: FloatArray) -> LineTable:
        lines = line_table(self.setup, self.numbers, seed, exposed)
        return self.on_target(exposure, lines, exposed)

    def on_target(self, exposure: Exposure, lines: LineTable, exposed: FloatArray) -> LineTable:
        """Turn exposed lines to where one exposure of this channel goes."""
        offset_um = self.channel.row_offset_um + exposure.offset_um
        slope = self.samplers[0].slope
        if self.placement is not AS_SET_UP:
            joined = float(self.numbers.timing.lines_joined)
            lines = self.placement.of_lines(lines, exposed / joined)
        return lines.moved(offset_um, -slope * offset_um)

    def _seen_e(self, lines: LineTable) -> ImageArray:
        return self.flickered(self._sampled(lines), lines)

    def _sampled(self, lines: LineTable) -> ImageArray:
        """Sample each line at the blur of its own distance from best focus."""
        if len(self.samplers) == 1:
            return self.samplers[0].strip(lines)
        at = partial(_away_mm, self.setup, self.numbers.by_colour[self.channel.index])
        nearest = np.abs(at(lines.height_mm)[:, None] - at(self.heights_mm).round(9)).argmin(axis=1)
        out = np.empty((len(lines), self.samplers[0].tiles[-1].last), dtype=np.float32)
        for level in np.unique(nearest):
            chosen = np.flatnonzero(nearest == level)
            out[chosen] = self.samplers[level].strip(lines.taken(chosen))
        return out

    def flickered(self, seen_e: ImageArray, lines: LineTable) -> ImageArray:
        """Let the lamp's light, not the ambient, swing from line to line."""
        light = self.setup.light
        if light.flicker > 0 or light.height_band_mm is not None:
            seen_e *= (1 + np.outer(lines.light - 1, 1 - self.ambient)).astype(np.float32)
        return seen_e


def exposers(
    setup: Setup,
    reference: Reference,
    *,
    physical: bool = False,
    off_axis_error: float = OFF_AXIS_ERROR,
    placement: Placement = AS_SET_UP,
) -> list[Exposer]:
    """
    Build the first half for all channels; where the lens blurs widely, over a coarser reference.

    Parameters
    ----------
    setup : Setup
    reference : Reference
    physical : bool; keep the physical pixels apart instead of sampling the joined ones
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.
    placement : Placement; where the target lies

    Returns
    -------
    list of Exposer; one a channel

    Raises
    ------
    InputError; where an exposure sees far more reference pixels than any image needs
    """
    numbers = station(setup)
    refuse_too_fine(numbers, reference.pixel_size_um, setup.transport.flutter_mm)
    seen = coarser(setup, numbers, reference, off_axis_error)
    return [
        exposer(
            setup,
            seen,
            channel,
            physical=physical,
            off_axis_error=off_axis_error,
            placement=placement,
        )
        for channel in channels(setup, numbers)
    ]


def seen_together(
    exposers: Sequence[Exposer], seed: int, delivered: FloatArray
) -> list[ImageArray]:
    """
    Give the expected electrons of some delivered lines in all channels.

    Parameters
    ----------
    exposers : sequence of Exposer; one a channel, of one setup and reference
    seed : int; of jitter and of lost counts
    delivered : ndarray of shape (lines,); numbers of the delivered lines

    Returns
    -------
    list of ndarray; as `Exposer.at` gives each, from one way through the reference [e]
    """
    if any(len(each.samplers) > 1 or len(each.trail) > 1 for each in exposers):
        return [each.at(seed, delivered) for each in exposers]
    found = [
        _one_exposure(exposers, place, seed, delivered)
        for place in range(len(exposers[0].exposures))
    ]
    return [np.stack(own) if len(own) > 1 else own[0][None] for own in zip(*found, strict=True)]


def _one_exposure(
    exposers: Sequence[Exposer], place: int, seed: int, delivered: FloatArray
) -> list[ImageArray]:
    """Take one exposure in all channels; those that take the same lines share their table."""
    known: dict[bytes, LineTable] = {}
    tables = []
    for each in exposers:
        exposure = each.exposures[place]
        exposed = each.exposed(exposure, delivered)
        key = exposed.tobytes()
        if key not in known:
            known[key] = line_table(each.setup, each.numbers, seed, exposed)
        tables.append(each.on_target(exposure, known[key], exposed))
    seen = strips([each.samplers[0] for each in exposers], tables)
    found = zip(exposers, seen, tables, strict=True)
    return [each.flickered(seen_e, lines) for each, seen_e, lines in found]


def exposures_of(numbers: Station, *, physical: bool) -> tuple[Exposure, ...]:
    """Name the exposures that make a delivered pixel."""
    place = numbers.geometry
    if not physical:
        return (Exposure(offset_um=0.0, line=0),)
    row_um = float(place.row_side_um) / int(place.along)
    return tuple(
        Exposure(offset_um=row * row_um, line=line)
        for line in range(int(place.lines_joined))
        for row in range(int(place.along))
    )


def exposer(
    setup: Setup,
    reference: Reference,
    channel: Channel,
    *,
    physical: bool = False,
    off_axis_error: float = OFF_AXIS_ERROR,
    placement: Placement = AS_SET_UP,
) -> Exposer:
    """
    Build the tables of the first half.

    Parameters
    ----------
    setup : Setup
    reference : Reference
    channel : Channel; which channel
    physical : bool; keep the physical pixels apart instead of sampling the joined ones
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.
    placement : Placement; where the target lies

    Raises
    ------
    InputError; where an exposure sees far more reference pixels than any image needs
    """
    numbers = station(setup)
    flutter_mm = setup.transport.flutter_mm
    fine = reference.fine if isinstance(reference, CoarseReference) else reference
    refuse_too_fine(numbers, fine.pixel_size_um, flutter_mm)
    one = numbers.by_colour[channel.index]
    heights_mm = np.linspace(-flutter_mm, flutter_mm, _HEIGHTS if flutter_mm else 1)
    # as far before best focus as behind it is as blurred
    _, kept = np.unique(_away_mm(setup, one, heights_mm).round(9), return_index=True)
    heights_mm = heights_mm[kept]
    exposures = exposures_of(numbers, physical=physical)
    across = int(numbers.geometry.across) if physical else 1
    columns = int(numbers.geometry.image_width_px) * across
    ambient = column_profile(setup, columns, ambient=True) / column_profile(setup, columns)
    split = across, int(numbers.geometry.along) if physical else 1
    white_e = channel.white_e / (across * len(exposures)) * column_profile(setup, columns)
    samplers = []
    for height_mm in heights_mm.tolist():
        lens_at = partial(_lens_at, setup, one, (height_mm, channel.index, off_axis_error))
        made_of = Made(lens_at, split, white_e, setup.camera.crosstalk, placement)
        samplers.append(sampler(setup, numbers, reference, channel, made_of))
    return Exposer(
        setup=setup,
        numbers=numbers,
        channel=channel,
        exposures=exposures,
        heights_mm=heights_mm,
        samplers=tuple(samplers),
        ambient=ambient,
        trail=numbers.trail,
        placement=placement,
    )


def _away_mm(setup: Setup, one: Station, height_mm: FloatArray) -> FloatArray:
    """Tell heights apart by how far they are from best focus; by place where that differs."""
    if isinstance(setup.lens.defocus_mm, OverField):
        return height_mm
    return np.asarray(np.abs(one.optics.defocus_mm + height_mm))


def _lens_at(
    setup: Setup, one: Station, at: tuple[float, int, float], position: float
) -> LensSpread:
    """Split the lens's spread at a place of the line, for a height, a channel and an error."""
    height_mm, channel, off_axis_error = at
    lens = one.optics
    if uneven_keys(setup):
        # zones have an error of their own, so that less is left for this one
        lens, off_axis_error = optics(setup, position).of_channel(channel), off_axis_error / 3
    away = replace(lens, defocus_mm=abs(round(float(lens.defocus_mm) + height_mm, 9)))
    return lens_spread(away, least_side_um(one), off_axis_error)
