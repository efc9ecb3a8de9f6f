"""
The two banded matrices as a device takes them, output by output.

Nothing is worked out here a second time: the weights come from ``across`` and ``along``. Lines that
look at the same part of a reference pixel share one row of weights, so that an even motion needs
few of them however long the scan is.
"""

from dataclasses import dataclass

import numpy as np

from linesim.forward.sampling.across import AcrossTile
from linesim.forward.sampling.along import TILE_LINES, along_table
from linesim.forward.sampling.sampler import Sampler
from linesim.forward.sampling.windows import Indices
from linesim.forward.transport import LineTable, steady_lines
from linesim.setup.arrays import FloatArray, ImageArray

_ALIKE = 7
"""Decimals of a reference pixel to which two lines must agree to share their weights."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Band:
    """One banded matrix, output by output."""

    # shape (outputs,); first reference row or column that each line or column sees; may lie outside
    first: Indices
    which: Indices  # shape (outputs,); its row of weights
    taps: ImageArray  # shape (kinds, terms, seen); weights


def across_band(tiles: tuple[AcrossTile, ...]) -> Band:
    """Take the across matrix apart, column by column."""
    dense = [(tile.phases[0] * tile.profile).transpose(2, 0, 1) for tile in tiles]
    longest = max(each.shape[2] for each in dense)
    padded = [np.pad(each, ((0, 0), (0, 0), (0, longest - each.shape[2]))) for each in dense]
    low = np.repeat([tile.low for tile in tiles], [len(each) for each in dense])
    ahead, taps = _trimmed(np.concatenate(padded))
    return Band(first=low + ahead, which=np.arange(len(low)), taps=taps)


def along_band(sampler: Sampler, lines: LineTable) -> Band:
    """Work out the along matrix of any lines, one row of weights for all that look alike."""
    pitch_um, lines = sampler.reference.pixel_size_um, lines.moved(sampler.lead_um)
    whole = np.floor(lines.start_um / pitch_um + 10.0**-_ALIKE).astype(np.intp)
    seen_um = np.stack([lines.start_um - whole * pitch_um, lines.travel_um], axis=1)
    # complex for a pair of keys: pairs of real ones take twenty times as long to sort
    alike = np.round(seen_um / pitch_um, _ALIKE).view(np.complex128)[:, 0]
    _, chosen, which = np.unique(alike, return_index=True, return_inverse=True)
    kinds = _kinds(seen_um[chosen])
    table = along_table(sampler.zones[0], kinds, sampler.side_um, pitch_um)
    ahead, taps = _trimmed(table.weights.reshape(len(kinds), table.terms, -1))
    ahead += np.repeat(table.low, TILE_LINES)
    return Band(first=whole + ahead[which], which=which, taps=taps)


def _kinds(seen_um: FloatArray) -> LineTable:
    """Give whole tiles of lines that start and travel so, the last one repeated behind the end."""
    kinds = steady_lines(seen_um[:, 0], seen_um[:, 1])
    return kinds.filled(-(-len(kinds) // TILE_LINES) * TILE_LINES)


def _trimmed(dense: ImageArray) -> tuple[Indices, ImageArray]:
    """Leave the zeros out that stand before and behind the weights of each output."""
    used = (dense != 0).any(axis=1)
    first = np.where(used.any(axis=1), used.argmax(axis=1), 0)
    past = used.shape[1] - used[:, ::-1].argmax(axis=1)
    longest = int(np.where(used.any(axis=1), past - first, 1).max())
    padded = np.pad(dense, ((0, 0), (0, 0), (0, longest)))
    place = first[:, None] + np.arange(longest)
    return first, np.take_along_axis(padded, place[:, None, :], axis=2)


def joined_windows(bands: list[Band], size: int) -> Band:
    """Put windows of equal numbers of lines one after the other, each filled to whole tiles."""
    lines = len(bands[0].first)
    filled = np.minimum(np.arange(-(-lines // size) * size), lines - 1)
    seen = max(band.taps.shape[2] for band in bands)
    taps = [np.pad(band.taps, ((0, 0), (0, 0), (0, seen - band.taps.shape[2]))) for band in bands]
    before = np.cumsum([0, *(len(each) for each in taps[:-1])])
    return Band(
        first=np.concatenate([band.first[filled] for band in bands]),
        which=np.concatenate(
            [band.which[filled] + start for band, start in zip(bands, before, strict=True)]
        ),
        taps=np.concatenate(taps),
    )
