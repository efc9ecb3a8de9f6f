"""
What a setup expects of a window: means, noise, and what columns have of their own.

A sample of column j is μ + γ_j·∂μ/∂γ + δ_j·∂μ/∂δ + noise: the column's own gain γ and offset δ are
normal, with PRNU/√n and DSNU·√n as EMVA 1288 has them. Noise in time is normal, of the variance
that the station has at the sample's own signal.
"""

from dataclasses import dataclass

import numpy as np

from linesim.forward.profile import column_profile
from linesim.forward.render import expected_of
from linesim.forward.sensor.linearity import shown_e
from linesim.forward.station import Station, station
from linesim.metrics.scene.affine import Affine
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.fit.windows import Window
from linesim.studies.measure.against.predicted import Prediction


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Signal:
    """Signal of a window, and the setup that it is of."""

    setup: Setup
    signal_e: FloatArray  # shape (lines, columns); before noise [e]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """What a window should show."""

    # both of shape (lines, columns)
    mean_dn: FloatArray
    variance_dn2: FloatArray
    gained_dn: FloatArray  # of the same shape; what a column gains by γ = 1 [DN]
    offset_dn: FloatArray  # shape (columns,); the same by δ = 1 e [DN]
    spread: tuple[float, float]  # standard deviations of γ and of δ [1, e]


def rendered(own: Prediction, window: Window, lies: Affine) -> Signal:
    """Render the lines of a window where they lie."""
    place = own.placement(lies, window.first_column, window.strays_px, window.sways_px)
    seen_e = expected_of(own.setup, own.reference, window.lines, place)
    return Signal(setup=own.setup, signal_e=seen_e[:, window.columns, 0].astype(np.float64))


def levelled(seen: Signal, setup: Setup, window: Window) -> Signal:
    """Bring a signal to the level of a setup that differs in light alone."""
    before, after = (float(station(each).electrons_white) for each in (seen.setup, setup))
    width = int(station(setup).geometry.image_width_px)
    share = column_profile(setup, width) / column_profile(seen.setup, width)
    ratio = after / max(before, 1e-300) * share[window.columns]
    return Signal(setup=setup, signal_e=seen.signal_e * ratio)


def expected(seen: Signal, window: Window) -> Expected:
    """Work out what the numbers of a signal should be."""
    numbers = station(seen.setup).by_colour[0]
    corrected = bool(seen.setup.acquisition.flat_field)
    lift: FloatArray = np.ones(seen.signal_e.shape[1])
    if corrected:
        width = int(numbers.geometry.image_width_px)
        lift = 1 / column_profile(seen.setup, width)[window.columns]
    gain = float(numbers.delivered.gain_dn_e)
    charge_e = shown_e(numbers, seen.signal_e * lift + float(numbers.delivered_dark_e))
    noise_e = numbers.noise_e(np.maximum(seen.signal_e, 0))
    return Expected(
        mean_dn=np.asarray(numbers.delivered.number_dn(charge_e)),
        variance_dn2=np.square(gain * lift * noise_e),
        gained_dn=gain * lift * seen.signal_e,
        offset_dn=gain * lift,
        spread=_spread(numbers, corrected=corrected),
    )


def _spread(numbers: Station, *, corrected: bool) -> tuple[float, float]:
    """Spread of the columns' gains and offsets; see `Station.pattern_e`."""
    if corrected:
        white_e = max(float(numbers.electrons_white), 1e-9)
        return float(numbers.pattern_e(white_e)) / white_e, 0.0
    lines = float(np.asarray(numbers.geometry.lines_joined))
    pixels = float(np.asarray(numbers.geometry.pixels_joined)) / lines
    prnu, dsnu_e = float(numbers.sensor.prnu), float(numbers.sensor.dsnu_e)
    return prnu / pixels**0.5, dsnu_e * lines * pixels**0.5
