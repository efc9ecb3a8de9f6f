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
from dataclasses import dataclass

import numpy as np

from linesim.forward.across import PHASES, AcrossTile, Columns, Indices, seen_columns
from linesim.forward.along import TILE_LINES, along_weights, blurred_along, one_band, seen_rows
from linesim.forward.reference import Reference
from linesim.forward.spread import Footprint
from linesim.forward.transport import LineTable
from linesim.setup.arrays import FloatArray, ImageArray

PARTS = 16
"""Steps in a reference pixel by which a tile is shifted along travel; off by 1/32 at most."""
Table = tuple[Indices, ImageArray]
"""First reference row of each four lines, and their part of the along matrix."""
Group = tuple[slice | Indices, int, int]
"""Lines, their whole shift in reference columns, and the part of a column left."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sampler:
    """
    Both matrices around one reference, ready to give any strip.

    Parameters
    ----------
    reference : Reference
        The target.
    repeat : bool
        Whether it repeats.
    bands : ndarray of shape (3,)
        What red, green and blue reflectance count in this channel.
    feet : tuple of Footprint
        Blurred pixel along travel, one a lens term.
    side_um : float
        Rows of pixels that look at the same moment, along travel. [µm]
    tiles : tuple of AcrossTile
        The across matrix.
    slope : float
        Tangent of the skew: shift along travel over distance from the optical axis.
    """

    reference: Reference
    repeat: bool
    bands: ImageArray
    feet: tuple[Footprint, ...]
    side_um: float
    tiles: tuple[AcrossTile, ...]
    slope: float = 0.0

    def strip(self, lines: LineTable) -> ImageArray:
        """
        Sample some lines.

        Parameters
        ----------
        lines : LineTable
            One strip, or some lines of it.

        Returns
        -------
        ndarray of shape (lines, columns)
            float32, in the unit of the across matrix.
        """
        filled = lines.filled(-(-len(lines) // TILE_LINES) * TILE_LINES)
        out = np.empty((len(filled), self.tiles[-1].last), dtype=np.float32)
        out[:, : self.tiles[0].first] = 0  # columns of tiles that were left out
        steps = [self._step(tile) for tile in self.tiles]
        tables = {part: self._table(filled, part) for part in sorted({k % PARTS for k in steps})}
        rows = self._rows(tables, steps)
        whole = None if self.slope else self._blurred(tables[0], 0, rows, slice(None))
        for tile, step in zip(self.tiles, steps, strict=True):
            groups = list(self._groups(tile, filled))
            if whole is None:
                columns, origin = self._own_columns(tile, groups)
                blurred = self._blurred(tables[step % PARTS], step // PARTS, rows, columns)
            else:
                blurred, origin = whole, 0
            for group in groups:
                self._across(tile, group, (blurred, origin), out[:, tile.first : tile.last])
        return out[: len(lines)]

    def _step(self, tile: AcrossTile) -> int:
        """Shift of a tile along travel, in parts of a reference pixel."""
        return round(PARTS * self.slope * tile.middle_um / self.reference.pixel_size_um)

    def _table(self, lines: LineTable, part: int) -> Table:
        """Build the along matrix of lines that look so many parts of a reference pixel further."""
        pitch_um = self.reference.pixel_size_um
        return along_weights(
            self.feet, lines.moved(part / PARTS * pitch_um), self.side_um, pitch_um
        )

    def _rows(self, tables: dict[int, Table], steps: list[int]) -> tuple[ImageArray, int]:
        """Fetch all reference rows that a strip sees, once; give the first one's number too."""
        ends = [(tables[step % PARTS], step // PARTS) for step in (min(steps), max(steps))]
        (early, before), (late, after) = ends
        first = int(early[0].min()) + before
        last = int(late[0].max()) + after + max(each[1].shape[3] for each in tables.values())
        seen = seen_rows(self.reference, first, last - first, repeat=self.repeat)
        return one_band(seen, self.bands), first

    def _own_columns(self, tile: AcrossTile, groups: list[Group]) -> tuple[Columns, int]:
        """Name the reference columns that one tile sees; give the first one's number too."""
        shifts = [shift for _, shift, _ in groups]
        low, count = tile.low + min(shifts), tile.count + max(shifts) - min(shifts)
        return seen_columns(low, count, self.reference.shape[1], repeat=self.repeat), low

    def _blurred(
        self, table: Table, shift: int, rows: tuple[ImageArray, int], columns: Columns
    ) -> ImageArray:
        """Take the along product, so many rows further, of shape (terms, lines, columns)."""
        (low, weights), (seen, origin) = table, rows
        part = seen[:, columns]
        lines = len(low) * TILE_LINES
        blurred = np.empty((len(self.feet), lines, part.shape[1]), dtype=np.float32)
        for tile, first in enumerate(low + (shift - origin)):
            into = blurred[:, tile * TILE_LINES : (tile + 1) * TILE_LINES]
            blurred_along(weights[tile], part[first : first + weights.shape[3]], into)
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
        if not self.slope:
            columns = seen_columns(first, tile.count, self.reference.shape[1], repeat=self.repeat)
        weights = tile.phases[phase]
        product = blurred[0][:, columns][rows] @ weights[0]
        for k in range(1, len(weights)):
            product += blurred[k][:, columns][rows] @ weights[k]
        into[rows] = product
