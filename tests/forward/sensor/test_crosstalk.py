"""Crosstalk: neighbours in the line collect a share of each pixel's electrons."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward.pixel import pixel_factors_across
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

SHARE = 0.04
BASE = plain_setup(
    "Crosstalk",
    target={"pixel_size": "25 um", "repeat": True},
    light={"irradiance": "40 W/m^2", "illuminance": None},
    camera={"pixels": 48},
)
LEAKING = changed(BASE, {"camera.crosstalk": SHARE})
BINNED = {"acquisition.binning": "2x1"}
SPECKLE = ArrayReference(
    data=np.random.default_rng(8).random((90, 144)).astype(np.float32), pixel_size_um=25.0
)
"""As wide as the line, so that the pixels beyond its end see what the other end sees."""
ROUNDING = 2e-6
"""Of the brightest: sums in float32."""


def electrons(changes: dict[str, object]) -> FloatArray:
    """Render the speckle without noise."""
    return render(changed(BASE, changes), SPECKLE, 20, 0, workers=1).expected_e.astype(np.float64)


def mixed(plain_e: FloatArray) -> FloatArray:
    """Give each neighbour its share, round the line's ends."""
    to_both = np.roll(plain_e, 1, axis=1) + np.roll(plain_e, -1, axis=1)
    return (1 - 2 * SHARE) * plain_e + SHARE * to_both


@pytest.mark.parametrize("domain", ["charge", "digital"])
def test_neighbours_collect_their_share_before_pixels_are_joined(domain: str) -> None:
    """The picture is that of a sensor without it, mixed by [c, 1 - 2c, c] pixel by pixel."""
    plain_e = electrons({})
    seen_e = electrons({"camera.crosstalk": SHARE})
    assert_allclose(seen_e, mixed(plain_e), rtol=0, atol=ROUNDING * plain_e.max())
    joined_e = mixed(plain_e).reshape(20, -1, 2).sum(axis=2)
    more = {**BINNED, "acquisition.binning_domain": domain, "camera.crosstalk": SHARE}
    assert_allclose(electrons(more), joined_e, rtol=0, atol=ROUNDING * joined_e.max())


def test_no_electron_is_lost_and_an_even_target_stays_even() -> None:
    """The ends of the line have what pixels beyond them collect: the sum and an even level stay."""
    assert electrons({"camera.crosstalk": SHARE}).sum() == pytest.approx(
        electrons({}).sum(), rel=ROUNDING
    )
    white = ArrayReference(data=np.ones((30, 30), dtype=np.float32), pixel_size_um=250.0)
    seen = render(LEAKING, white, 8, 0, workers=1).expected_e
    assert_allclose(seen, station(BASE).electrons_white, rtol=ROUNDING)


def test_none_is_no_change() -> None:
    """A share of 0 gives the same electrons to the last bit, and no factor of the MTF."""
    assert_array_equal(electrons({"camera.crosstalk": 0.0}), electrons({}))
    assert "crosstalk" not in pixel_factors_across(station(BASE), np.array([5.0]))


@pytest.mark.parametrize("binned", [False, True])
def test_the_transfer_is_that_of_the_kernel(binned: bool) -> None:  # noqa: FBT001 -- a case
    """Σ_k h_k cos 2πfkp by hand, p the physical pixel on the target; 1 - 4c at its Nyquist."""
    numbers = station(changed(LEAKING, BINNED) if binned else LEAKING)
    pitch_mm = 0.075
    frequency = np.linspace(0, 0.5 / pitch_mm, 7)
    kernel = np.array([SHARE, 1 - 2 * SHARE, SHARE])
    cosines = np.cos(2 * np.pi * np.multiply.outer(frequency, np.array([-1, 0, 1]) * pitch_mm))
    found = pixel_factors_across(numbers, frequency)["crosstalk"]
    assert_allclose(found, cosines @ kernel, rtol=1e-12)
    assert found[-1] == pytest.approx(1 - 4 * SHARE, rel=1e-12)


def test_an_edge_shows_it() -> None:
    """
    MTF across at Nyquist, read off a slanted edge: as told to 0.01, and 1 - 4c of what it was.

    Two readings of an MTF near 0.5, each to 0.01, have a ratio that is known to 0.03.
    """
    bright = {"target.image": "edge", "target.repeat": False, "camera.read_noise": "1 e",
              "camera.full_well": "4 Me", "light.irradiance": "2 kW/m^2", "camera.bit_depth": 16,
              "target.width": "12 mm", "target.height": "12 mm", "camera.pixels": 128}  # fmt: skip
    found = {
        share: scan(changed(BASE, {**bright, "camera.crosstalk": share}), 1, workers=1)
        for share in (0.0, 0.1)
    }
    seen = {share: each.measured["mtf_nyquist_x"] for share, each in found.items()}
    for share, each in found.items():
        told = each.budget.groups["resolution"]["mtf_nyquist_x"]
        assert seen[share] == pytest.approx(told, abs=0.01)
    assert seen[0.1] / seen[0.0] == pytest.approx(1 - 4 * 0.1, abs=0.03)
