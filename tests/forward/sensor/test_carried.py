"""Lag and charge transfer: what a line leaves is delivered with the lines behind it."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.signal import lfilter

from linesim.figures.resolution import mtf_along
from linesim.forward.reference import ArrayReference
from linesim.forward.render import both_halves, render
from linesim.forward.sensor.carried import charge_transfer_mtf, lag_mtf, trail
from linesim.forward.station import station
from linesim.metrics.flat.area import flat_area
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

Changes = dict[str, Any]
LAG = 0.1
LEFT_OUT = 2e-5
"""Of the brightest: later shares that are left out, and sums in float32."""
ROUNDING = 136 * 2.0**-24
"""Of a value: float32 sums of some 76 rows, then of some 60 columns, in any order. Where rows stand
in a matrix product decides which of its loops adds them, but for AVX-512 (OpenBLAS)."""
BASE = plain_setup(
    "Carried",
    target={"pixel_size": "25 um", "repeat": True},
    light={"irradiance": "40 W/m^2", "illuminance": None},
    camera={"pixels": 48},
)
PERIOD = 30
SPECKLE = ArrayReference(
    data=np.random.default_rng(8).random((3 * PERIOD, 144)).astype(np.float32), pixel_size_um=25.0
)
"""As long as 30 lines, so that the lines before the first are those before the thirty-first."""
LAGGING: Changes = {"camera.lag": LAG}
SLOW: Changes = {"camera.tdi_stages": 64, "camera.charge_transfer_inefficiency": 0.01}
LINES: Changes = {
    "acquisition.binning": "1x2",
    "acquisition.binning_domain": "digital",
    "acquisition.binning_along": "lines",
}


def electrons(changes: Changes, lines: int = PERIOD) -> FloatArray:
    """Render the speckle without noise."""
    setup = changed(BASE, changes)
    return render(setup, SPECKLE, lines, 0, workers=1).expected_e.astype(np.float64)


def left_over(plain_e: FloatArray) -> FloatArray:
    """Let a recursive filter do what lag does, line after line, over five rounds of the target."""
    rounds = np.tile(plain_e, (5, 1))
    return np.asarray(lfilter([1 - LAG], [1, -LAG], rounds, axis=0)[-len(plain_e) :])


def test_lag_is_the_recursion_line_by_line() -> None:
    """left_i = l (x_i + left_{i-1}), (1 - l)(x_i + left_{i-1}) delivered (scipy's lfilter)."""
    plain_e = electrons({})
    atol = LEFT_OUT * plain_e.max()
    assert_allclose(electrons(LAGGING), left_over(plain_e), rtol=0, atol=atol)


def test_lines_that_are_joined_lag_one_after_the_other() -> None:
    """Each exposed line leaves its share to the next one, then pairs are summed."""
    pairs_e = left_over(electrons({})).reshape(PERIOD // 2, 2, -1).sum(axis=1)
    atol = LEFT_OUT * pairs_e.max()
    assert_allclose(electrons({**LAGGING, **LINES}, PERIOD // 2), pairs_e, rtol=0, atol=atol)


@pytest.mark.parametrize(
    "more",
    [LAGGING, SLOW, {**LAGGING, **LINES}, {**LAGGING, "transport.line_jitter": "20 um"}],
    ids=["lag", "stages", "joined", "jitter"],
)
def test_lines_are_the_same_however_they_are_asked_for(more: Changes) -> None:
    """Some lines of a strip, and single ones, are what they are in the whole."""
    ((see, _),) = both_halves(changed(BASE, more), SPECKLE, 3)
    whole = see.strip(3, 0, 128)
    assert_allclose(see.strip(3, 64, 128), whole[:, 64:], rtol=ROUNDING)
    some = np.array([5.0, 6.0, 70.0, 101.0])
    assert_allclose(see.at(3, some), whole[:, some.astype(int)], rtol=ROUNDING)


@pytest.mark.parametrize("more", [LAGGING, SLOW, {**LAGGING, "camera.kind": "three-line",
                                                 "camera.line_spacing": "17 um",
                                                 "acquisition.colour_alignment": "fractional"}],
                         ids=["lag", "stages", "colours"])  # fmt: skip
def test_an_even_target_keeps_its_level_from_the_first_line_on(more: Changes) -> None:
    """What a line leaves it gets from the one before: white has the electrons of no lag."""
    white = ArrayReference(data=np.ones((30, 30), dtype=np.float32), pixel_size_um=250.0)
    setup = changed(BASE, more)
    seen = render(setup, white, 9, 0, workers=1).expected_e
    told = np.broadcast_to(station(setup).electrons_white, seen.shape)
    assert_allclose(seen, told, rtol=2e-6)


def test_none_is_no_change() -> None:
    """Without lag the electrons are the same to the last bit, and one share is all."""
    assert_array_equal(electrons({"camera.lag": 0.0}), electrons({}))
    assert station(BASE).trail == (1.0,)


@pytest.mark.parametrize("lag", [0.001, 0.02, 0.5])
def test_the_transfer_of_lag_is_that_of_its_shares(lag: float) -> None:
    """Σ h_k exp(-2πikfd) of the shares themselves, to what is left out of them, twice 1e-5."""
    shares, cycles = np.array(trail(lag, 0.0, 1)), np.linspace(0, 1, 9)
    summed = np.exp(-2j * np.pi * np.multiply.outer(cycles, np.arange(len(shares)))) @ shares
    assert_allclose(lag_mtf(lag, cycles), np.abs(summed), rtol=0, atol=2e-5)
    assert lag_mtf(lag, 0.5) == pytest.approx((1 - lag) / (1 + lag), rel=1e-12)


def test_transfers_show_their_shares_and_many_stations_at_once() -> None:
    """The closed form is the transform of the shares; arrays give what single numbers give."""
    loss, cycles = np.array([[0.0], [1e-5], [0.01]]), np.linspace(0, 0.5, 6)
    found = charge_transfer_mtf(loss, np.array([[64], [512], [64]]), cycles)
    for row, (each, stages) in zip(found, ((0.0, 64), (1e-5, 512), (0.01, 64)), strict=True):
        shares = np.array(trail(0.0, each, stages))
        turns = np.exp(-2j * np.pi * np.multiply.outer(cycles, np.arange(len(shares))))
        assert_allclose(row, np.abs(turns @ shares), rtol=0, atol=2e-5)


def test_noise_stays_white_and_poisson() -> None:
    """Parts of a Poisson count are independent ones: noise as told, lines unalike, 5 errors."""
    white = ArrayReference(data=np.ones((30, 30), dtype=np.float32), pixel_size_um=250.0)
    setup = changed(BASE, {"camera.lag": 0.3, "camera.gain": "0.5 DN/e", "camera.bit_depth": 16})
    found, numbers = flat_area([render(setup, white, 1500, 4, workers=1).image]), station(setup)
    told_dn2 = (0.5 * float(numbers.noise_e(numbers.electrons_white))) ** 2
    assert found.temporal_dn2.value == pytest.approx(told_dn2, abs=5 * found.temporal_dn2.sd)
    assert abs(found.correlation_y) < 5 * found.correlation_sd


def test_an_edge_across_shows_lag() -> None:
    """MTF along at Nyquist, read off a slanted edge: as told to 0.01, less by (1 - l)/(1 + l)."""
    bright = {"target.image": "edge", "target.repeat": False, "camera.read_noise": "1 e",
              "camera.full_well": "4 Me", "light.irradiance": "2 kW/m^2", "camera.bit_depth": 16,
              "target.width": "12 mm", "target.height": "12 mm", "camera.pixels": 128,
              "target.angle": "85 deg"}  # fmt: skip
    found = {
        lag: scan(changed(BASE, {**bright, "camera.lag": lag}), 1, workers=1) for lag in (0.0, 0.2)
    }
    seen = {lag: each.measured["mtf_nyquist_y"] for lag, each in found.items()}
    for lag, each in found.items():
        told = each.budget.groups["resolution"]["mtf_nyquist_y"]
        assert seen[lag] == pytest.approx(told, abs=0.01)
    assert seen[0.2] / seen[0.0] == pytest.approx(0.8 / 1.2, abs=0.05)


@pytest.mark.parametrize("rate", ["matched", "5 kHz"])
def test_half_of_the_contrast_is_the_first_place_where_it_is(rate: str) -> None:
    """With gaps between lines a lagging transfer comes back up: no earlier place is below half."""
    setup = changed(BASE, {"camera.lag": 0.5, "acquisition.line_rate": rate})
    setup = changed(setup, {"acquisition.exposure": "5 us"})
    found = float(scan(setup, 0, workers=1).budget.groups["resolution"]["mtf50_y_lp_mm"])
    numbers = station(setup)
    assert mtf_along(numbers, found) == pytest.approx(0.5, abs=1e-9)
    before = mtf_along(numbers, np.linspace(0, 0.999 * found, 400))
    assert before.min() > 0.5
