"""
What lies between the places that are worked out: linear mixing, its shares sample by sample.

Between places d apart, a response E to an edge is d² E″/8 off at most. With three reference pixels
in an object pixel that is 0.05 % of white for the twelfths and sixths of one that are worked out.
"""

from dataclasses import dataclass

import numpy as np

from linesim.forward.sampling.across import PHASES, AcrossTile
from linesim.forward.sampling.windows import Indices
from linesim.forward.transport import LineTable
from linesim.setup.arrays import FloatArray, ImageArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shifts:
    """How a tile's matrices are mixed for each line."""

    whole: Indices  # shape (lines,); whole shift in reference columns
    sets: tuple[int, ...]  # which of the tile's matrices
    shares: ImageArray  # shape (sets, lines, columns or 1); what each of them counts
    travel_um: ImageArray  # shape (lines, columns or 1); sideways while exposed [µm]


def shifts_of(
    tile: AcrossTile, lines: LineTable, pitch_um: float, widths_um: tuple[float, ...]
) -> Shifts:
    """Mix a tile's matrices by how far lines are shifted across there, and move while exposed."""
    stretches = bool(lines.stretch.any() or lines.stretch_travel.any())
    place_um = tile.places_um if stretches else np.zeros(1)
    shift_px = (lines.sideways_um[:, None] + np.outer(lines.stretch, place_um)) / pitch_um
    travel_um = lines.sideways_travel_um[:, None] + np.outer(lines.stretch_travel, place_um)
    whole = np.floor(shift_px.min(axis=1)).astype(np.intp)
    phases = len(tile.phases) // len(widths_um)
    phase, by_phase = even_shares(PHASES * (shift_px - whole[:, None]), phases - 1)
    level, by_level = _shares(np.square(travel_um), np.square(widths_um))
    shares = by_level[:, None] * by_phase
    return Shifts(
        whole=whole,
        sets=tuple(phases * k + j for k in level for j in phase),
        shares=shares.reshape(-1, *shares.shape[2:]).astype(np.float32),
        travel_um=travel_um.astype(np.float32),
    )


def seen_by(tile: AcrossTile, shifts: Shifts | None) -> tuple[int, int]:
    """Name the reference columns that some lines see with a tile, the last one exclusive."""
    if shifts is None:
        return tile.low, tile.low + tile.count
    return tile.low + int(shifts.whole.min()), tile.low + int(shifts.whole.max()) + tile.count


def farthest(tile: AcrossTile, lines: LineTable, pitch_um: float) -> tuple[int, int]:
    """Name reference columns among which lie all that some lines see with a tile."""
    stretched_um = np.outer(
        [lines.stretch.min(), lines.stretch.max()], [tile.places_um[0], tile.places_um[-1]]
    )
    low_um = lines.sideways_um.min() + stretched_um.min()
    high_um = lines.sideways_um.max() + stretched_um.max()
    low, high = np.floor(np.array([low_um, high_um]) / pitch_um).astype(int).tolist()
    return tile.low + low, tile.low + high + tile.count


def mixed(tile: AcrossTile, shifts: Shifts, own: ImageArray, orders: int) -> ImageArray:
    """Multiply what each line sees, of shape (lines, terms, count), and mix the products."""
    terms, _, columns = tile.phases[0].shape
    sets = np.stack([tile.phases[k] for k in shifts.sets])
    size, out = terms // orders, np.zeros((len(own), columns), dtype=np.float32)
    for order in range(orders):
        some = slice(order * size, (order + 1) * size)
        weights = sets[:, some].reshape(len(sets), -1, columns)
        products = own[:, some].reshape(len(own), -1) @ weights
        out += shifts.travel_um**order * (shifts.shares * products).sum(axis=0)
    return out


def even_shares(place: FloatArray, last: int) -> tuple[range, FloatArray]:
    """Name whole numbers, up to a last one, around places, and what each counts at each place."""
    first, past = int(np.floor(place.min())), min(int(np.floor(place.max())) + 1, last) + 1
    whole = np.arange(first, past).reshape(-1, *(1,) * place.ndim)
    return range(first, past), np.maximum(1 - np.abs(place - whole), 0)


def _shares(place: FloatArray, known: FloatArray) -> tuple[range, FloatArray]:
    """Name rising numbers around places, by their index, and what each counts at each place."""
    if len(known) == 1:
        return range(1), np.ones((1, 1, 1))
    index = np.interp(place, known, np.arange(len(known)))
    return even_shares(index, len(known) - 1)
