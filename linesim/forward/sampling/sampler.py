"""
Sampling: the scan is two banded matrices around the reference, S = Σ_k A_y · R · A_xᵀ.

Each weight is the exact area integral of a blurred pixel over one reference pixel. The along
product comes first, for it shrinks the work before the across product. Both run as dense tiles of
fixed size from line 0 and column 0, so the result does not depend on how the scan is cut.

A skewed camera looks at another place along travel from column to column: the along product is then
taken for each tile of columns by itself, shifted in steps of a sixteenth of a reference pixel, so
that few along matrices serve all tiles. A line that wanders or is stretched shifts across, tile by
tile, in steps of an eighth.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from linesim.forward.reference import Reference
from linesim.forward.sampling.across import PHASES, AcrossTile, Columns, seen_columns
from linesim.forward.sampling.across_runs import AcrossRun, across_runs
from linesim.forward.sampling.along import TILE_LINES, AlongTable, along_table, one_band, seen_rows
from linesim.forward.sampling.windows import Indices, roomy
from linesim.forward.spread import Footprint
from linesim.forward.transport import LineTable
from linesim.setup.arrays import FloatArray, ImageArray

PARTS = 16
"""Steps in a reference pixel by which a tile is shifted along travel; off by 1/32 at most."""
FOLD = 4
"""References that a single line sees, from which on border rows are summed beforehand: a lens at
f/256 spreads light over centimetres. By the lens alone, so that no strip is computed otherwise."""
Group = tuple[slice | Indices, int, int]
"""Lines, their whole shift in reference columns, and the part of a column left."""
Tables = dict[tuple[int, int], AlongTable]
"""Along matrices by zone of the line, and by parts of a reference pixel."""


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
        Blurred pixel along travel, one a lens term, in each zone of the line.
    side_um : float; rows of pixels that look at the same moment, along travel [µm]
    tiles : tuple of AcrossTile; the across matrix
    slope : float; tangent of the skew: shift along travel over distance from the optical axis
    """

    reference: Reference
    repeat: bool
    bands: ImageArray
    zones: tuple[tuple[Footprint, ...], ...]
    side_um: float
    tiles: tuple[AcrossTile, ...]
    slope: float = 0.0
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
        filled = lines.filled(-(-len(lines) // TILE_LINES) * TILE_LINES)
        out = np.empty((len(filled), self.tiles[-1].last), dtype=np.float32)
        out[:, : self.tiles[0].first] = 0  # columns of tiles that were left out
        steps = [] if self.runs else [self._step(tile) for tile in self.tiles]
        seen_by = {(run.zone, 0) for run in self.runs}
        if not self.runs:
            zones = (tile.zone for tile in self.tiles)
            seen_by = set(zip(zones, steps, strict=True))
        wanted = sorted({(zone, step % PARTS) for zone, step in seen_by})
        tables = {key: self._table(filled, *key) for key in wanted}
        rows = self._rows(tables, seen_by)
        if self.runs:
            for zone, _ in wanted:
                self._steady(tables[zone, 0], zone, rows, out)
        else:
            self._by_tile((tables, steps), rows, filled, out)
        return out[: len(lines)]

    def _steady(
        self, table: AlongTable, zone: int, rows: tuple[ImageArray, int], out: ImageArray
    ) -> None:
        """Take both products of lines that all look at the same columns, a run at a time."""
        runs = [run for run in self.runs if run.zone == zone]
        blurred = roomy(table.depth, max(run.high - run.low for run in runs))
        low, high = runs[0].low, runs[0].low
        for run in runs:
            # what the run before has seen as well stands at its end already
            kept = max(high - run.low, 0)
            blurred[:, :kept] = blurred[:, run.low - low : high - low]
            low, high = run.low, run.high
            table.product(rows, low + kept, blurred[:, kept : high - low], repeat=self.repeat)
            run.product(blurred[:, : high - low], out)

    def _by_tile(
        self,
        along: tuple[Tables, list[int]],
        rows: tuple[ImageArray, int],
        lines: LineTable,
        out: ImageArray,
    ) -> None:
        """Take both products where tiles or lines look at columns or rows of their own."""
        (tables, steps), size = along, self.reference.shape[1]
        whole = None if self.by_tile else self._blurred(tables[0, 0], 0, rows, (0, size))
        for tile, step in zip(self.tiles, steps, strict=True):
            groups = list(self._groups(tile, lines))
            if whole is None:
                shifts = [shift for _, shift, _ in groups]
                origin = tile.low + min(shifts)
                columns = origin, tile.count + max(shifts) - min(shifts)
                table = tables[tile.zone, step % PARTS]
                blurred = self._blurred(table, step // PARTS, rows, columns)
            else:
                blurred, origin = whole, 0
            for group in groups:
                self._across(tile, group, (blurred, origin), out[:, tile.first : tile.last])

    def _step(self, tile: AcrossTile) -> int:
        """Shift of a tile along travel, in parts of a reference pixel."""
        return round(PARTS * self.slope * tile.middle_um / self.reference.pixel_size_um)

    @property
    def by_tile(self) -> bool:
        """Whether tiles have along tables of their own."""
        return self.slope != 0 or len(self.zones) > 1

    def _table(self, lines: LineTable, zone: int, part: int) -> AlongTable:
        """Build the along matrix of lines that look so many parts of a reference pixel further."""
        pitch_um, feet = self.reference.pixel_size_um, self.zones[zone]
        table = along_table(feet, lines.moved(part / PARTS * pitch_um), self.side_um, pitch_um)
        seen, size = 2 * self.reach_um / pitch_um, self.reference.shape[0]
        is_mostly_border = not self.repeat and self.slope == 0 and seen > FOLD * size
        return table.folded(size) if is_mostly_border else table

    def _rows(self, tables: Tables, seen_by: set[tuple[int, int]]) -> tuple[ImageArray, int]:
        """Fetch all reference rows that a strip sees, once; give the first one's number too."""
        ends = [
            (
                int(tables[zone, step % PARTS].low.min()) + step // PARTS,
                tables[zone, step % PARTS].high + step // PARTS,
            )
            for zone, step in seen_by
        ]
        first, last = min(low for low, _ in ends), max(high for _, high in ends)
        seen = seen_rows(self.reference, first, last - first, repeat=self.repeat)
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
        table.product((seen, origin - shift), low, blurred, repeat=self.repeat)
        return blurred

    def _groups(self, tile: AcrossTile, lines: LineTable) -> Iterator[Group]:
        """Part lines by how far they are shifted across at this tile."""
        if len(tile.phases) == 1:
            yield slice(None), 0, 0
            return
        shift_um: FloatArray = lines.sideways_um + tile.middle_um * lines.stretch
        steps = np.rint(PHASES * shift_um / self.reference.pixel_size_um).astype(np.intp)
        for step in np.unique(steps):
            yield np.flatnonzero(steps == step), int(step // PHASES), int(step % PHASES)

    def _across(
        self, tile: AcrossTile, group: Group, source: tuple[ImageArray, int], into: ImageArray
    ) -> None:
        """Take the across product of one tile and one group of lines."""
        (rows, shift, phase), (blurred, origin) = group, source
        first = tile.low + shift - origin
        columns: Columns = slice(first, first + tile.count)
        if not self.by_tile:
            columns = seen_columns(first, tile.count, self.reference.shape[1], repeat=self.repeat)
        weights = tile.phases[phase]
        terms = len(weights)
        product = blurred[::terms, columns][rows] @ weights[0]
        for k in range(1, terms):
            product += blurred[k::terms, columns][rows] @ weights[k]
        into[rows] = product * tile.profile
