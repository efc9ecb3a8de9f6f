"""Streaks along travel, light from line to line, and places of lines, against the prediction."""

from dataclasses import dataclass

import numpy as np

from linesim.forward.station import Station, station
from linesim.forward.transport import LineTable, line_table
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.strays import Series
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.measure.against.agreement import Difference
from linesim.studies.measure.against.placed import Placed
from linesim.studies.measure.against.predicted import Prediction

_PATTERN = 0.001
_LINE_LIGHT = 0.002
_STRAY_PX = 0.05
"""Least differences that count: of the columns' and the lines' light, in parts; of the lines'
places, in samples. Our choice."""
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Evenness:
    """How even a capture is."""

    columns: Estimate  # spread of the columns' light, in parts
    lines: Series  # of the lines' light, in parts
    signal_dn: FloatArray  # shape (columns,); mean signal of each column that tells its gain [DN]


def regularity(
    setup: Setup, own: Prediction, one: Placed, channel: int, seen: Evenness
) -> tuple[Difference, ...]:
    """Hold columns and lines of a channel against what the setup, as it is, makes of them."""
    numbers = station(setup).by_colour[channel]
    lines = np.arange(one.lines.start, one.lines.stop, dtype=np.float64)
    table = line_table(setup, numbers, 0, lines * float(numbers.timing.lines_joined))
    pattern, light = _predicted(numbers, table, seen.signal_dn)
    even = (
        Difference(name="column_pattern", predicted=pattern, measured=seen.columns, least=_PATTERN),
        Difference(
            name="line_light",
            predicted=light,
            measured=Estimate(value=seen.lines.rms, sd=seen.lines.sd),
            least=_LINE_LIGHT,
        ),
    )
    places = (
        ("line_places_px", one.along, table.start_um, own.sides_um[0]),
        ("line_sideways_px", one.across, table.sideways_um, own.sides_um[1]),
    )
    straying = []
    for name, series, place_um, side_um in places:
        wanted = _straying(lines, place_um) / side_um
        if series is None and wanted == 0:
            continue
        # what is too little to be told is less than half of what counts
        none = Estimate(value=0.0, sd=_STRAY_PX / 8)
        found = none if series is None else Estimate(value=series.rms, sd=series.sd)
        straying.append(Difference(name=name, predicted=wanted, measured=found, least=_STRAY_PX))
    return (*even, *straying)


def _predicted(numbers: Station, table: LineTable, signal_dn: FloatArray) -> tuple[float, float]:
    """Give the spread of the columns' and of the lines' light, in parts."""
    signal_e = signal_dn / float(numbers.delivered.gain_dn_e)
    mean_e = float(signal_e.mean())
    pattern = float(np.sqrt(np.mean(np.square(numbers.pattern_e(signal_e) / signal_e))))
    flicker, shared = float(np.std(table.light)), float(numbers.line_noise_e) / mean_e
    return pattern, float(np.hypot(flicker, shared))


def _straying(lines: FloatArray, place_um: FloatArray) -> float:
    """Give the spread of places about their straight line. [µm]."""
    spread = float(np.std(place_um - np.polyval(np.polyfit(lines, place_um, 1), lines)))
    return spread if spread > _ROUNDING * float(np.ptp(place_um)) else 0.0
