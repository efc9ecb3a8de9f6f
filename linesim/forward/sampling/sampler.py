"""
Sampling: the scan is two banded matrices around the reference, S = Σ_k A_y · R · A_xᵀ.

Each weight is the exact area integral of a blurred pixel over one reference pixel. The along
product comes first, for it shrinks the work before the across product. Both run as dense tiles of
fixed size from line 0 and column 0, so the result does not depend on how the scan is cut, but for
the last bits that some processors' loops give a row by its place in a product.

A skewed camera looks at another place along travel from column to column: the along product is then
taken for each tile of columns by itself, at the sixths of a reference pixel around its columns, so
that few along matrices serve all tiles; each column mixes the two about its own place. A line that
wanders or is stretched shifts across: each sample mixes the two twelfths of a reference pixel about
its place, and the two sideways travels about that of its exposure.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from linesim.forward.reference import Reference
from linesim.forward.sampling.across import DIGITS, AcrossTile
from linesim.forward.sampling.across_runs import AcrossRun, across_runs
from linesim.forward.sampling.along import TILE_LINES, AlongTable, along_table
from linesim.forward.sampling.along_products import Product, along_products, one_band, seen_rows
from linesim.forward.sampling.between import (
    Shifts,
    even_shares,
    farthest,
    mixed,
    seen_by,
    shifts_of,
)
from linesim.forward.sampling.smear import STILL, Leaning, Smears
from linesim.forward.sampling.windows import roomy
from linesim.forward.spread import Footprint
from linesim.forward.transport import LineTable
from linesim.setup.arrays import ImageArray

PARTS = 6
"""Steps in a reference pixel for which a skewed line is worked out along travel."""
Tables = dict[tuple[int, int], AlongTable]
"""Along matrices by zone of the line, and by parts of a reference pixel."""
FOLD = 4
"""References that a single line sees, from which on border rows are summed beforehand: a lens at
f/256 spreads light over centimetres. By the lens alone, so that no strip is computed otherwise."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sampler:
    """
    Both matrices around one reference, ready to give any strip.

    Parameters
    ----------
    reference : Reference
    repeat : bool; whether it repeats
    bands : ndarray of shape (3,); what red, green and blue reflectance count in this channel
    zones : tuple of tuple of Footprint
        Blurred pixel along travel, one a lens term, then what leans of them; by zone of the line.
    side_um : float; rows of pixels that look at the same moment, along travel [µm]
    tiles : tuple of AcrossTile; the across matrix
    slope : float; tangent of the skew: shift along travel over distance from the optical axis
    smears : Smears; sideways travels that the tiles' matrices are for
    lead_um : float; where the target begins behind the leading edge of row 0 [µm]
    """

    reference: Reference
    repeat: bool
    bands: ImageArray
    zones: tuple[tuple[Footprint | Leaning, ...], ...]
    side_um: float
    tiles: tuple[AcrossTile, ...]
    slope: float = 0.0
    smears: Smears = STILL
    lead_um: float = 0.0
    runs: tuple[AcrossRun, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Join the tiles where every line looks at the same columns."""
        steady = self.slope == 0 and len(self.tiles[0].phases) == 1
        object.__setattr__(self, "runs", across_runs(self.tiles) if steady else ())

    @property
    def reach_um(self) -> float:
        """A pixel sees nothing along travel that is further from its middle. [µm]."""
        return max(foot.reach_um for feet in self.zones for foot in feet)

    def strip(self, lines: LineTable) -> ImageArray:
        """
        Sample some lines.

        Parameters
        ----------
        lines : LineTable; one strip, or some lines of it

        Returns
        -------
        ndarray of shape (lines, columns); float32, in the unit of the across matrix
        """
        if self.runs:
            return strips([self], [lines])[0]
        filled, out = self.begun(lines)
        steps = {(tile.zone, k) for tile in self.tiles for k in self._steps(tile)[0]}
        tables = self.tables(filled, {(zone, step % PARTS) for zone, step in steps})
        self._by_tile(tables, self._rows(tables, steps), filled, out)
        return out[: len(lines)]

    def begun(self, lines: LineTable) -> tuple[LineTable, ImageArray]:
        """Fill lines to whole tiles, and give the place for what they see."""
        filled = lines.filled(-(-len(lines) // TILE_LINES) * TILE_LINES).moved(self.lead_um)
        out = np.empty((len(filled), self.tiles[-1].last), dtype=np.float32)
        out[:, : self.tiles[0].first] = 0  # columns of tiles that were left out
        return filled, out

    def tables(self, lines: LineTable, wanted: set[tuple[int, int]]) -> Tables:
        """Build along matrices by zone and part of a reference pixel."""
        return {key: self._table(lines, *key) for key in sorted(wanted)}

    def _by_tile(
        self,
        tables: Tables,
        rows: tuple[ImageArray, int],
        lines: LineTable,
        out: ImageArray,
    ) -> None:
        """Take both products where tiles or lines look at columns or rows of their own."""
        alike = self.slope == 0 and len(self.zones) == 1
        whole = self._seen(lines, tables[0, 0], rows) if alike else None
        for tile in self.tiles:
            shifts, total = self._shifts(tile, lines), np.float32(0)
            low, high = seen_by(tile, shifts)
            for step, share in zip(*self._steps(tile), strict=True):
                table = tables[tile.zone, step % PARTS]
                blurred, origin = whole or (
                    self._blurred(table, step // PARTS, rows, (low, high - low)),
                    low,
                )
                total = total + self._across(tile, shifts, (blurred, origin)) * share
            np.multiply(total, tile.profile, out=out[:, tile.first : tile.last])

    def _seen(
        self, lines: LineTable, table: AlongTable, rows: tuple[ImageArray, int]
    ) -> tuple[ImageArray, int]:
        """Take the along product of all columns that any line sees, once for all tiles."""
        pitch_um = self.reference.pixel_size_um
        ends = [farthest(tile, lines, pitch_um) for tile in self.tiles]
        low, high = min(low for low, _ in ends), max(high for _, high in ends)
        return self._blurred(table, 0, rows, (low, high - low)), low

    def _steps(self, tile: AcrossTile) -> tuple[range, ImageArray]:
        """Name shifts of a tile along travel, in parts of a reference pixel, and their shares."""
        if self.slope == 0:
            return range(1), np.ones((1, 1), dtype=np.float32)
        part = self.reference.pixel_size_um / PARTS
        place = np.round(self.slope * tile.places_um / part, DIGITS)
        steps, shares = even_shares(place, int(np.ceil(place.max())))
        return steps, shares.astype(np.float32)

    def _shifts(self, tile: AcrossTile, lines: LineTable) -> Shifts | None:
        """Tell how far lines are shifted across at this tile, if they can be."""
        if len(tile.phases) == 1:
            return None
        return shifts_of(tile, lines, self.reference.pixel_size_um, self.smears.widths_um)

    def _table(self, lines: LineTable, zone: int, part: int) -> AlongTable:
        """Build the along matrix of lines that look so many parts of a reference pixel further."""
        pitch_um, feet = self.reference.pixel_size_um, self.zones[zone]
        table = along_table(feet, lines.moved(part / PARTS * pitch_um), self.side_um, pitch_um)
        seen, size = 2 * self.reach_um / pitch_um, self.reference.shape[0]
        is_mostly_border = not self.repeat and self.slope == 0 and seen > FOLD * size
        return table.folded(size) if is_mostly_border else table

    def _rows(self, tables: Tables, steps: set[tuple[int, int]]) -> tuple[ImageArray, int]:
        """Fetch all reference rows that a strip sees, once; give the first one's number too."""
        ends = [_ends(tables[zone, step % PARTS], step // PARTS) for zone, step in steps]
        seen, first = _fetched(self, ends)
        return one_band(seen, self.bands), first

    def _blurred(
        self,
        table: AlongTable,
        shift: int,
        rows: tuple[ImageArray, int],
        columns: tuple[int, int],
    ) -> ImageArray:
        """Take the along product, so many rows further, of shape (lines x terms, columns)."""
        (seen, origin), (low, count) = rows, columns
        blurred = roomy(table.depth, count)
        along_products([Product(table, seen, origin - shift, low, blurred)], repeat=self.repeat)
        return blurred

    def _across(
        self, tile: AcrossTile, shifts: Shifts | None, source: tuple[ImageArray, int]
    ) -> ImageArray:
        """Take the across product of one tile."""
        blurred, origin = source
        terms = len(tile.phases[0])
        seen = blurred.reshape(len(blurred) // terms, terms, -1)
        first = tile.low - origin
        if shifts is None:
            product: ImageArray = seen[:, 0, first : first + tile.count] @ tile.phases[0][0]
            for k in range(1, terms):
                product += seen[:, k, first : first + tile.count] @ tile.phases[0][k]
            return product
        windows = sliding_window_view(seen, tile.count, axis=2)
        own = windows[np.arange(len(seen)), :, first + shifts.whole]
        return mixed(tile, shifts, own, self.smears.orders)


def strips(samplers: Sequence[Sampler], lines: Sequence[LineTable]) -> list[ImageArray]:
    """
    Sample some lines by several channels, in one way through the reference where they can.

    Parameters
    ----------
    samplers : sequence of Sampler; one a channel
    lines : sequence of LineTable; what each of them looks at

    Returns
    -------
    list of ndarray; as `Sampler.strip` gives each
    """
    if not samplers[0].runs or len({_sharing_key(one) for one in samplers}) > 1:
        return [one.strip(own) for one, own in zip(samplers, lines, strict=True)]
    pairs = [one.begun(own) for one, own in zip(samplers, lines, strict=True)]
    zones = sorted({run.zone for run in samplers[0].runs})
    tables = [
        one.tables(filled, {(zone, 0) for zone in zones})
        for one, (filled, _) in zip(samplers, pairs, strict=True)
    ]
    ends = [_ends(table, 0) for own in tables for table in own.values()]
    seen, first = _fetched(samplers[0], ends)
    by_bands = {one.bands.tobytes(): one_band(seen, one.bands) for one in samplers}
    for zone in zones:
        views = [
            _ChannelView(
                one.repeat,
                [run for run in one.runs if run.zone == zone],
                own[zone, 0],
                by_bands[one.bands.tobytes()],
                first,
            )
            for one, own in zip(samplers, tables, strict=True)
        ]
        _steady(views, [out for _, out in pairs])
    return [out[: len(own)] for (_, out), own in zip(pairs, lines, strict=True)]


class _ChannelView(NamedTuple):
    """What one channel sees of a strip with one zone of the line."""

    repeat: bool
    runs: list[AcrossRun]
    table: AlongTable
    seen: ImageArray
    first: int  # number of the first row that is seen


def _sharing_key(one: Sampler) -> tuple[object, ...]:
    """Tell samplers apart that cannot go through their reference together."""
    runs = tuple((run.zone, run.first, run.last) for run in one.runs)
    return id(one.reference), one.repeat, runs, one.tiles[0].first, one.tiles[-1].last


def _steady(views: list[_ChannelView], outs: list[ImageArray]) -> None:
    """Take both products of lines that all look at the same columns, a run at a time."""
    each = [roomy(view.table.depth, max(run.high - run.low for run in view.runs)) for view in views]
    seen = [(view.runs[0].low, view.runs[0].low) for view in views]
    for runs in zip(*[view.runs for view in views], strict=True):
        wanted = []
        for view, run, (low, high), blurred in zip(views, runs, seen, each, strict=True):
            # what the run before has seen as well stands at its end already
            kept = min(max(high - run.low, 0), run.high - run.low)
            blurred[:, :kept] = blurred[:, run.low - low : run.low - low + kept]
            into = blurred[:, kept : run.high - run.low]
            if into.size:
                wanted.append(Product(view.table, view.seen, view.first, run.low + kept, into))
        if wanted:
            along_products(wanted, repeat=views[0].repeat)
        for run, blurred, out in zip(runs, each, outs, strict=True):
            run.product(blurred[:, : run.high - run.low], out)
        seen = [(run.low, run.high) for run in runs]


def _ends(table: AlongTable, shift: int) -> tuple[int, int]:
    """Name the rows that a table sees, so many further."""
    return int(table.low.min()) + shift, table.high + shift


def _fetched(one: Sampler, ends: list[tuple[int, int]]) -> tuple[ImageArray, int]:
    """Fetch all reference rows between the outermost ends, once; give the first one's number."""
    low, high = min(first for first, _ in ends), max(last for _, last in ends)
    return seen_rows(one.reference, low, high, repeat=one.repeat)
