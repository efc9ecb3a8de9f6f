"""
The linearity error that is typed is the one that EMVA 1288 reads off the numbers.

R4.0 RC (March 2021), (58) and section 6.9: means less dark, a line over 5 to 95 % of saturation
whose relative deviations have the least squares, and the mean of their sizes.
"""

import numpy as np
import pytest

from linesim.forward.capture import capturer
from linesim.forward.sensor.bend import bend_of, bent, straightened
from linesim.metrics.camera.linearity import linearity
from linesim.metrics.camera.series import Moments, Series, moments_of
from linesim.metrics.flat.noise import FrameFigures, frame_figures
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from tests.stations import plain_setup

FULL_E = 1e6
LINES, COLUMNS = 64, 96


def camera(error: float) -> Setup:
    """Give a camera of a million electrons on 16 bit."""
    return plain_setup(
        "Linearity",
        target={"pixel_size": "250 um"},
        light={"irradiance": "20 W/m^2", "illuminance": None},
        camera={"pixels": COLUMNS, "full_well": "1 Me", "bit_depth": 16, "linearity_error": error},
    )


def frames(setup: Setup, level_e: float, seed: int) -> FrameFigures:
    """Take two frames of an even light."""
    keep = capturer(setup, seed, 0, physical=False)
    even_e = np.full((1, LINES, COLUMNS), level_e, dtype=np.float32)
    return frame_figures(np.stack([keep.strip(even_e, each) for each in (0, 1)]))


def series_of(light_e: FloatArray, lit: Moments, dark: Moments) -> Series:
    """Lay steps of light out, all with one dark."""
    return Series(
        light=light_e,
        lit=lit,
        dark=dark,
        dark_exposure_us=np.array([100.0]),
        dark_of=np.zeros(light_e.size, dtype=np.intp),
    )


@pytest.mark.parametrize("error", [0.0, 0.003, 0.02])
def test_the_error_typed_is_the_error_read(error: float) -> None:
    """
    Within the 95 % interval of the reading, which noise gives, and within a step's share, 1/60.

    Steps in the middles of 60 equal parts of the range stand for the mean over it: where the curve
    crosses the line, and at the ends, one step of 60 may count too much or too little.
    """
    setup = camera(error)
    low, high = straightened(np.array([0.05, 0.95]), bend_of(error), 1.0)
    light_e = FULL_E * (low + (high - low) * (np.arange(60) + 0.5) / 60)
    lit = moments_of([frames(setup, each, 7 + k) for k, each in enumerate(light_e.tolist())])
    series = series_of(light_e, lit, moments_of([frames(setup, 0.0, 5)]))
    saturation_dn = 65535 - 32.0
    found = linearity(series, saturation_dn)
    assert found is not None
    read = found.linearity_error
    assert found.steps.size == 60
    assert read.low - error / 60 <= error <= read.high + error / 60


def test_many_steps_read_it_exactly() -> None:
    """Without noise, 2000 steps leave out at most one at each end of the range: 1/1000 of it."""
    error, light_e = 0.01, FULL_E * (np.arange(2000) + 0.5) / 2000
    nothing = np.zeros(light_e.size)
    lit = Moments(
        mean_dn=bent(light_e, bend_of(error), FULL_E),
        temporal_dn2=nothing,
        mean_sd_dn=nothing,
        temporal_sd_dn2=nothing,
    )
    none = np.zeros(1)
    dark = Moments(mean_dn=none, temporal_dn2=none, mean_sd_dn=none, temporal_sd_dn2=none)
    read = _deviation(series_of(light_e, lit, dark), FULL_E)
    assert read == pytest.approx(error, rel=2e-3)


def _deviation(series: Series, saturation_dn: float) -> float:
    """Follow (58) by hand: the line by numpy, in the steps of the range."""
    signal_dn = series.signal_dn
    used = (signal_dn >= 0.05 * saturation_dn) & (signal_dn <= 0.95 * saturation_dn)
    light, signal_dn = series.light[used], signal_dn[used]
    line_dn = np.polyval(np.polyfit(light, signal_dn, 1, w=1 / signal_dn), light)
    return float(np.abs(signal_dn / line_dn - 1).mean())
