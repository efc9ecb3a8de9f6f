"""
What a lens does over its field, in the picture, against brute force.

The target repeats. Its Fourier series is that of its pixels, exact: the discrete transform of one
period times a pixel's sinc, taken up to the lens's cut-off. A sample is the sum of all its terms,
each times the full transfer of the lens at that column, of pixel and motion: no product of two
spreads, no matrix, no zone.
"""

from typing import Any, NamedTuple

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.forward.lens import Optics, optics
from linesim.forward.reference import ArrayReference
from linesim.forward.station import station
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

PITCH_UM = 20.0
SIDE = 24
# the lens's finite period and its few terms leave 0.1 % of white, and 0.02 % at an edge is left
# between two zones: the bound that is promised
ALLOWED = 1e-3
BASE = plain_setup(
    "Field",
    target={"pixel_size": f"{PITCH_UM} um", "repeat": True},
    lens={"f_number": 4.0},
    light={"irradiance": "40 W/m^2", "illuminance": None},
    camera={"pixels": 640},
    acquisition={"lines": 12, "exposure": "40 us"},
)
PRISM = {"camera.kind": "prism", "camera.light_share": 1.0}


def picture() -> FloatArray:
    """One period of a binary target: blots of 60 µm and more."""
    rng = np.random.default_rng(7)
    coarse = rng.random((6, 6)) > 0.5
    fine = np.kron(coarse, np.ones((4, 4)))
    fine[4:7, 9:20] = 1
    return np.asarray(fine, dtype=np.float64)


class Place(NamedTuple):
    """Where a column looks, how much wider and longer its picture is there, and by which lens."""

    x_um: float
    lens: Optics
    wider: float = 1.0
    longer: float = 1.0
    y_um: float = 0.0


def series(place: Place, setup: Setup) -> tuple[FloatArray, Any]:
    """Frequencies of all terms [1/µm], and the terms behind lens, pixel and motion."""
    numbers, period_um, lens = station(setup), SIDE * PITCH_UM, place.lens
    most = int(period_um * float(lens.cutoff_lp_mm) * setup.magnification / 1000) + 1
    order = np.arange(-most, most + 1)
    spectrum = np.fft.fft2(picture())[np.ix_(order % SIDE, order % SIDE)] / SIDE**2
    turn = np.exp(-1j * np.pi * order / SIDE) * np.sinc(order / SIDE)
    frequency = order / period_um
    across, along = frequency[None, :], frequency[:, None]
    seen = spectrum * turn[None, :] * turn[:, None]
    seen = seen * lens.mtf_on_target(1000 * place.wider * across, 1000 * place.longer * along)
    side_um = place.longer * float(numbers.geometry.row_side_um)
    boxes = np.sinc(across * place.wider * 75) * np.sinc(along * side_um)
    return frequency, seen * boxes * np.sinc(along * float(numbers.motion_um))


def expected(setup: Setup, places: list[Place]) -> FloatArray:
    """Reflectance seen by some columns."""
    numbers = station(setup)
    advance_um = float(numbers.timing.line_advance_um)
    middle_um = float(numbers.geometry.row_side_um + numbers.motion_um) / 2
    y_um = np.arange(12) * advance_um + middle_um
    columns = []
    for place in places:
        frequency, terms = series(place, setup)
        along = np.exp(2j * np.pi * np.outer(y_um + place.y_um, frequency))
        across = np.exp(2j * np.pi * frequency * (place.x_um + SIDE * PITCH_UM / 2))
        columns.append((along @ terms @ across).real)
    return np.stack(columns, axis=1)


def seen(setup: Setup, columns: list[int], channel: int = 0) -> FloatArray:
    """Give the same columns as scanned, as shares of white."""
    reference = ArrayReference(data=picture().astype(np.float32), pixel_size_um=PITCH_UM)
    found = np.atleast_3d(scan(setup, reference=reference).expected_e)[:, :, channel]
    white_e = np.atleast_1d(np.asarray(station(setup).electrons_white))[channel]
    return np.asarray(found[:, columns] / white_e, dtype=np.float64)


COLUMNS = [0, 77, 160, 319, 320, 411, 600, 639]
OVER_FIELD: dict[str, dict[str, Any]] = {
    "even": {},
    "blur": {"lens.blur": ["1 um", "3 um", "8 um"]},
    "one side": {"lens.blur": ["9 um", "4 um", "1 um", "2 um", "5 um"]},
    "directions": {"lens.blur_across": ["1 um", "2 um", "7 um"], "lens.blur_along": "4 um"},
    "tilt": {"lens.defocus": ["-6 mm", "-4.2 mm", "0 mm", "4.2 mm", "6 mm"]},
    "curved": {"lens.defocus": ["-1 mm", "0.5 mm", "5 mm"], "lens.f_number": 2.8},
}


@pytest.mark.parametrize("name", OVER_FIELD)
def test_blur_over_the_field_is_that_of_the_full_series(name: str) -> None:
    """Each column has the blur of its own place, to 0.1 % of white on a binary target."""
    setup = changed(BASE, OVER_FIELD[name])
    parts = [(column + 0.5 - 320) / 320 for column in COLUMNS]
    places = [Place(x_um=24_000 * part, lens=optics(setup, part)) for part in parts]
    assert np.abs(seen(setup, COLUMNS) - expected(setup, places)).max() < ALLOWED


def test_distortion_moves_and_widens_the_pixels() -> None:
    """
    A sample of a barrel lens looks at h/(m (1 + D)), D growing with the square of its height.

    Between the places of its two sides across, and over 1/(1 + D) of its side along; its blur on
    the target grows alike.
    """
    setup = changed(BASE, {"lens.distortion": -0.03})
    part = (np.array(COLUMNS)[:, None] + [0.0, 0.5, 1.0] - 320) / 320
    low, _, high = (part * 24_000 / (1 - 0.03 * part**2)).T
    longer = 1 / (1 - 0.03 * part[:, 1] ** 2)
    lens = optics(setup)
    places = [
        Place(x_um=(a + b) / 2, wider=(b - a) / 75, longer=grown, lens=lens)
        for a, b, grown in zip(low, high, longer, strict=True)
    ]
    assert np.abs(seen(setup, COLUMNS) - expected(setup, places)).max() < ALLOWED


LATERAL = {"red": "3 um", "green": "0 um", "blue": "-2 um"}
OFF = {"red": ["2 um", "-1.5 um"], "green": ["0 um", "0 um"], "blue": ["0 um", "3 um"]}


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_colours_lie_apart_as_lens_and_prism_have_them(channel: int) -> None:
    """
    Red is 3 µm further out at the end of the field, and its sensor 2 and -1.5 µm off.

    On the target that is 10 times as much; each colour has its own wavelength and focus.
    """
    optic = {
        "lens.lateral_colour": LATERAL,
        "lens.axial_colour": {"red": "60 um", "green": "0 um", "blue": "-40 um"},
    }
    setup = changed(BASE, {**PRISM, **optic, "camera.registration": OFF})
    out_um = (3.0, 0.0, -2.0)[channel]
    across_um, along_um = ((2.0, -1.5), (0.0, 0.0), (0.0, 3.0))[channel]
    lens = optics(setup).of_channel(channel)
    assert lens.defocus_mm == pytest.approx((6.0, 0.0, -4.0)[channel])
    places = []
    for column in COLUMNS:
        part = (column + 0.5 - 320) / 320
        x_um = 24_000 * part + 10 * (across_um - out_um * part)
        wider = 1 - out_um / 2400
        places.append(Place(x_um=x_um, wider=wider, lens=lens, y_um=10 * along_um))
    wanted = expected(setup, places)
    assert np.abs(seen(setup, COLUMNS, channel) - wanted).max() < ALLOWED


def test_colours_apart_are_told() -> None:
    """The figures are those shifts, at the end where they are larger, and along travel."""
    setup = changed(BASE, {**PRISM, "lens.lateral_colour": LATERAL, "camera.registration": OFF})
    told = budget(setup)
    place = told["geometry"]
    # red: 3 µm out, or 3 in on the other side, its sensor 2 µm further: -5 of 7.5 µm there
    assert place["misregistration_x_px"] == pytest.approx(
        {"red": -5 / 7.5, "green": 0.0, "blue": -2 / 7.5}
    )
    assert place["misregistration_px"] == pytest.approx(
        {"red": 1.5 / 7.5, "green": 0.0, "blue": -3 / 7.5}
    )
    assert {"fringe", "fringe_across"} <= {each.code for each in told.cautions}
