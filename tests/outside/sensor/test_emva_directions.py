"""
Faults of the sensor that have a direction, split as the standard splits a camera's variances.

Release 4 of EMVA 1288 parts the spatial variance of a mean of L frames into rows, columns and
pixels, R4.0 RC (March 2021), (33) to (44). The lines of a line camera are the rows (4.3). What is
new in each line is not fixed, so that a mean of L frames keeps 1/L of its variance.
"""

import numpy as np
import pytest

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.sensor.taps import amplifiers
from linesim.forward.station import station
from linesim.metrics.flat.noise import FrameFigures, frame_figures
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

FRAMES, LINES, COLUMNS = 4, 240, 128
LINE_E, TAP = 30.0, 0.02
BASE = plain_setup(
    "Directions",
    target={"pixel_size": "250 um"},
    light={"irradiance": "20 W/m^2", "illuminance": None},
    camera={"pixels": COLUMNS, "gain": "0.5 DN/e", "bit_depth": 16},
)
FAULTY = changed(
    BASE, {"camera.line_noise": f"{LINE_E:g} e", "camera.taps": {"count": 4, "gain_step": TAP}}
)
WHITE = ArrayReference(data=np.ones((40, 40), dtype=np.float32), pixel_size_um=250.0)


def split(setup: Setup) -> FrameFigures:
    """Split one scan on white, cut into frames."""
    image = render(setup, WHITE, FRAMES * LINES, 9, workers=1).image
    return frame_figures(image.reshape(FRAMES, LINES, COLUMNS))


def test_line_noise_is_in_the_rows_and_taps_are_in_the_columns() -> None:
    """
    Rows have K² σ_l²/L and columns K² g² S², each within 5 of its errors.

    A variance of 240 rows is known to √(2/240) of itself, which the figure's own error, that of
    white noise, leaves out. The standard takes all of the temporal variance off the total, but of
    the rows only what white noise leaves in them: so pixels show as much less as rows show more.
    """
    found, gain_dn_e = split(FAULTY).spatial_dn2, 0.5
    row_dn2 = (gain_dn_e * LINE_E) ** 2 / FRAMES
    row_sd = np.hypot(found.row.sd, row_dn2 * np.sqrt(2 / LINES))
    assert found.row.value == pytest.approx(row_dn2, abs=5 * row_sd)
    white_e = float(station(BASE).electrons_white)
    column_dn2 = float((gain_dn_e * white_e * amplifiers(FAULTY, 0, COLUMNS)[0]).var())
    assert column_dn2 == pytest.approx((gain_dn_e * white_e * TAP) ** 2, rel=1e-9)
    assert found.column.value == pytest.approx(column_dn2, abs=5 * found.column.sd)
    assert found.pixel.value == pytest.approx(-row_dn2, abs=5 * np.hypot(found.pixel.sd, row_sd))


def test_without_them_neither_direction_has_anything() -> None:
    """The same scan without the two keys: rows, columns and pixels are 0 within 5 of the errors."""
    found = split(BASE).spatial_dn2
    for part in (found.row, found.column, found.pixel):
        assert part.value == pytest.approx(0, abs=5 * part.sd)


def test_the_temporal_variance_is_the_told_noise() -> None:
    """
    (18) holds shot, read and line noise: the variance that the figures tell.

    Line noise is shared by 128 columns, so that it is known from (L - 1) x 240 draws alone.
    """
    numbers = station(FAULTY)
    found, scale = split(FAULTY).temporal_dn2, float(numbers.dn_per_e) ** 2
    told_dn2 = scale * float(numbers.noise_e(numbers.electrons_white)) ** 2
    of_lines = scale * LINE_E**2 * np.sqrt(2 / ((FRAMES - 1) * LINES))
    assert found.value == pytest.approx(told_dn2, abs=5 * np.hypot(found.sd, of_lines))
