"""
Where a fault lies in the image: the share of each delivered sample's own footprint that it covers.

The footprint is the pixel's area with its travel while exposed, in the place where the station's
motion, skew, wander, jitter, flutter and binning put it. The lens is left out: a label says where
the fault is, not how far its light strays. Summed up and multiplied by the pixel's width and the
line advance, a label has the area of the fault, in the mean over all its places on the pixel grid.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise, product
from math import ceil, floor, inf

import numpy as np

from linesim.defects.defective import FaultMask, grid_under
from linesim.defects.fault import Fault
from linesim.defects.window import Window
from linesim.forward.channels import Channel, channels
from linesim.forward.expose import Exposer
from linesim.forward.reference import Reference
from linesim.forward.sampling.footprints import bare_exposer
from linesim.forward.sampling.zones import places_um
from linesim.forward.station import station
from linesim.forward.transport import STRIP_LINES, LineTable
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup
from linesim.targets.painted import Grid

LEAST_SHARE = 1e-5
"""Less of a sample is nothing: float32 weights are rounded to some 1e-7 of it."""
_TILE_SHIFT = 0.2  # of a sample, by which its tile's shift may differ from its own

Span = tuple[float, float]
"""From, to."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Label:
    """One appearance of a fault in an image."""

    # sample of the image at which the mask begins
    first_line: int
    first_column: int
    # shape (lines, columns); share of each sample's footprint that the fault covers, 0 to 1; the
    # smallest rectangle that holds all above 0
    mask: ImageArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Samples of an image that can see a fault."""

    # first and last
    lines: tuple[int, int]
    columns: tuple[int, int]
    tiles: slice  # of the across matrix, with those columns in them


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Footprints:
    """The samples of one scan on the target, to label any fault on it."""

    grid: Grid  # pixels of the reference
    repeat: bool
    seed: int  # of the jitter, as for the image
    # one a line of sight; colours that look elsewhere count by their mean
    exposers: tuple[Exposer, ...]
    # for each of them and each of its exposures, all lines of the scan
    tables: tuple[LineTable, ...]
    # shape (columns,); what each sample of a line can see across, in reference pixels [px]
    left_px: FloatArray
    right_px: FloatArray

    def labels(self, fault: Fault) -> tuple[Label, ...]:
        """Label each appearance of a fault: none where the scan misses it, several on repeats."""
        mask = FaultMask(grid=self.grid, fault=fault)
        if mask.window.empty:
            return ()
        found = [self._label(mask, *spans) for spans in self._appearances(mask)]
        return tuple(label for label in found if label is not None)

    def _appearances(self, mask: FaultMask) -> Iterator[tuple[Span, Span]]:
        """Give the rows and columns of the endless target that each appearance takes."""
        window, grid = mask.window, self.grid
        rows, columns = (window.top, window.bottom), (window.left, window.right)
        if not self.repeat:
            yield _gone_on(rows, grid.rows), _gone_on(columns, grid.columns)
            return
        ends = [self._rows_seen(table, slice(None)) for table in self.tables]
        along = min(low.min() for low, _ in ends), max(high.max() for _, high in ends)
        across = float(self.left_px.min()), float(self.right_px.max())
        yield from product(_turns(rows, grid.rows, along), _turns(columns, grid.columns, across))

    def _rows_seen(self, table: LineTable, tiles: slice) -> tuple[FloatArray, FloatArray]:
        """First and last reference row that each line sees with some tiles, and one beyond."""
        sampler, pitch_um = self.exposers[0].samplers[0], self.grid.pixel_size_um
        leaning_um = [sampler.slope * tile.middle_um for tile in sampler.tiles[tiles]]
        middle_um, reach_um = table.start_um + sampler.side_um / 2, sampler.reach_um
        low = (middle_um - reach_um + min(leaning_um)) / pitch_um - 1
        return low, (middle_um + table.travel_um + reach_um + max(leaning_um)) / pitch_um + 1

    def place(self, window: Window) -> "Place | None":
        """Tell which samples a fault with these bounds can reach; None where the scan misses it."""
        rows, columns = (window.top, window.bottom), (window.left, window.right)
        return self._placed(_gone_on(rows, self.grid.rows), _gone_on(columns, self.grid.columns))

    def _placed(self, rows: Span, columns: Span) -> "Place | None":
        """Tell which samples see some rows and columns of the endless target."""
        across = _met(self.left_px, self.right_px, columns)
        if across is None:
            return None
        tiles = self.exposers[0].samplers[0].tiles
        first, last = (
            next(k for k, tile in enumerate(tiles) if column < tile.last) for column in across
        )
        some = slice(first, last + 1)
        spans = [_met(*self._rows_seen(table, some), rows) for table in self.tables]
        met = [span for span in spans if span is not None]
        if not met:
            return None
        lines = min(span[0] for span in met), max(span[1] for span in met)
        return Place(lines=lines, columns=across, tiles=some)

    def _label(self, mask: FaultMask, rows: Span, columns: Span) -> Label | None:
        """Sample the mask where it appears in some rows and columns of the endless target."""
        at = self._placed(rows, columns)
        if at is None:
            return None
        inside = slice(at.columns[0], at.columns[1] + 1)
        shares = [
            self._sampled(each.part(mask, at.tiles), at.lines, inside) for each in self.exposers
        ]
        return label_of(np.mean(shares, axis=0), at.lines[0], at.columns[0])

    def _sampled(self, exposer: Exposer, lines: tuple[int, int], columns: slice) -> ImageArray:
        """Sample some lines, a strip at a time."""
        ends = [*range(lines[0], lines[1] + 1, STRIP_LINES), lines[1] + 1]
        strips = [exposer.strip(self.seed, *pair)[:, :, columns] for pair in pairwise(ends)]
        return np.concatenate([strip.sum(axis=0) for strip in strips])


def footprints(setup: Setup, reference: Reference, lines: int, seed: int) -> Footprints:
    """Place all samples of a scan on a target, which is not read."""
    numbers, grid = station(setup), grid_under(reference)
    exposers = tuple(
        bare_exposer(setup, reference, channel)
        for channel in _lines_of_sight(channels(setup, numbers))
    )
    tables = tuple(
        each.lines(exposure, seed, 0, lines) for each in exposers for exposure in each.exposures
    )
    width_um, columns = float(numbers.geometry.object_pixel_x_um), len(exposers[0].ambient)
    nominal_um = (np.arange(columns + 1, dtype=np.float64) - columns / 2) * width_um
    sides_um = [places_um(setup, each.channel.index, nominal_um) for each in exposers]
    slope = exposers[0].samplers[0].slope
    margin_um = grid.pixel_size_um + _TILE_SHIFT * width_um
    # stages of time-delay integration look side by side where the camera is skewed
    margin_um += setup.camera.tdi_stages * abs(slope) * float(numbers.geometry.row_side_um)
    left_um, right_um = (
        np.stack([_swayed(each[part], table) for each in sides_um for table in tables])
        for part in (slice(-1), slice(1, None))
    )
    return Footprints(
        grid=grid,
        repeat=setup.target.repeat,
        seed=seed,
        exposers=exposers,
        tables=tables,
        left_px=(left_um.min(axis=(0, 1)) - margin_um) / grid.pixel_size_um + grid.columns / 2,
        right_px=(right_um.max(axis=(0, 1)) + margin_um) / grid.pixel_size_um + grid.columns / 2,
    )


def _lines_of_sight(every: tuple[Channel, ...]) -> tuple[Channel, ...]:
    """Leave out channels that look where another one does."""
    return tuple({(each.row_offset_um, each.delay_lines): each for each in every}.values())


def _swayed(left_um: FloatArray, table: LineTable) -> FloatArray:
    """Give the least and the largest place of each sample that a line's shift and scale allow."""
    smear_um, smear = np.abs(table.sideways_travel_um) / 2, np.abs(table.stretch_travel) / 2
    scaled = [left_um * (table.stretch - smear).min(), left_um * (table.stretch + smear).max()]
    return np.stack(
        [
            left_um + (table.sideways_um - smear_um).min() + np.minimum(*scaled),
            left_um + (table.sideways_um + smear_um).max() + np.maximum(*scaled),
        ]
    )


def _gone_on(span: tuple[int, int], size: int) -> Span:
    """Reach out for ever where the reference's border has a part: outside, its value goes on."""
    return -inf if span[0] == 0 else span[0], inf if span[1] == size else span[1]


def _turns(span: tuple[int, int], size: int, seen: Span) -> list[Span]:
    """Give all places of a repeated span that are seen."""
    first, last = ceil((seen[0] - span[1]) / size), floor((seen[1] - span[0]) / size)
    return [(span[0] + k * size, span[1] + k * size) for k in range(first, last + 1)]


def _met(low: FloatArray, high: FloatArray, span: Span) -> tuple[int, int] | None:
    """Give the first and last of those that reach into a span."""
    index = np.flatnonzero((low < span[1]) & (high > span[0]))
    return (int(index[0]), int(index[-1])) if index.size else None


def label_of(mask: ImageArray, first_line: int, first_column: int) -> Label | None:
    """
    Make a label of samples; what is empty all around is cut off.

    Parameters
    ----------
    mask : ndarray of shape (lines, columns); share of each sample that is covered
    first_line, first_column : int; of the image, at which it begins

    Returns
    -------
    Label or None; None where nothing is covered
    """
    shares = np.where(mask < LEAST_SHARE, 0, np.minimum(mask, 1)).astype(np.float32)
    lines, columns = (np.flatnonzero(shares.any(axis=axis)) for axis in (1, 0))
    if lines.size == 0:
        return None
    return Label(
        first_line=first_line + int(lines[0]),
        first_column=first_column + int(columns[0]),
        mask=shares[lines[0] : lines[-1] + 1, columns[0] : columns[-1] + 1],
    )
