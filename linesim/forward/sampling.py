"""
Sampling: the scan is two banded matrices around the reference, S = Σ_k A_y · R · A_xᵀ.

Each weight is the exact area integral of a blurred pixel over one reference pixel. The along
product comes first, for it shrinks the work before the across product. Both run as dense tiles of
fixed size from line 0 and column 0, so the result does not depend on how the scan is cut.

A skewed camera looks at another place along travel from column to column: the along product is then
taken for each tile of columns by itself. A line that wanders or is stretched shifts across, tile by
tile, in steps of an eighth of a reference pixel.
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
        whole = None if self.slope else self._blurred(filled, slice(None))
        for tile in self.tiles:
            groups = list(self._groups(tile, filled))
            blurred, origin = (whole, 0) if whole is not None else self._own(tile, filled, groups)
            for group in groups:
                self._across(tile, group, (blurred, origin), out[:, tile.first : tile.last])
        return out[: len(lines)]

    def _own(
        self, tile: AcrossTile, lines: LineTable, groups: list[Group]
    ) -> tuple[ImageArray, int]:
        """Blur the columns of one tile where it looks along travel; give their first column too."""
        shifts = [shift for _, shift, _ in groups]
        low, count = tile.low + min(shifts), tile.count + max(shifts) - min(shifts)
        columns = seen_columns(low, count, self.reference.shape[1], repeat=self.repeat)
        return self._blurred(lines.moved(self.slope * tile.middle_um), columns), low

    def _blurred(self, lines: LineTable, columns: Columns) -> ImageArray:
        """Take the along product, of shape (terms, lines, columns)."""
        low, weights = along_weights(self.feet, lines, self.side_um, self.reference.pixel_size_um)
        width = len(np.arange(self.reference.shape[1])[columns])
        blurred = np.empty((len(self.feet), len(lines), width), dtype=np.float32)
        for tile, first in enumerate(low):
            rows = seen_rows(self.reference, int(first), weights.shape[3], repeat=self.repeat)
            part = slice(tile * TILE_LINES, (tile + 1) * TILE_LINES)
            blurred_along(weights[tile], one_band(rows, self.bands), columns, blurred[:, part])
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
        product = blurred[0][rows][:, columns] @ weights[0]
        for k in range(1, len(weights)):
            product += blurred[k][rows][:, columns] @ weights[k]
        into[rows] = product
