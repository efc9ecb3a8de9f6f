"""A response that bends: levels in DN follow it, signal and noise in electrons stay."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.figures.budget import budget
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.sensor.bend import bend_of, bent, straightened
from linesim.forward.sensor.linearity import meant_e, shown_e
from linesim.forward.station import station
from linesim.setup.load import changed
from tests.stations import plain_setup

Changes = dict[str, Any]
BASE = plain_setup(
    "Linearity",
    target={"pixel_size": "250 um"},
    light={"irradiance": "20 W/m^2", "illuminance": None},
    camera={
        "pixels": 64,
        "full_well": "20 ke",
        "bit_depth": 16,
        "black_level": "200 DN",
        "dark_current": "5 Me/s",
    },
    requirement={"product_reflectance": 0.4},
)
BENT: Changes = {"camera.linearity_error": 0.03}
BINNED: Changes = {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"}
WAYS: dict[str, Changes] = {
    "one pixel": {},
    "charge": {"acquisition.binning": "2x2", "camera.binned_full_well": "60 ke"},
    "sum": {**BINNED, "camera.gain": "0.5 DN/e"},
    "average": {**BINNED, "acquisition.binning_mode": "average"},
    "flat field": {"acquisition.flat_field": True, "acquisition.flat_field_lines": 10**6},
}


def test_the_curve_has_its_ends_its_middle_and_its_slopes() -> None:
    """0 and Q stay, Q/2 is Q B/4 more, slopes are 1 + B and 1 - B: the formula, by hand."""
    full_e, bend = 2e4, 0.1
    seen = bent(np.array([0.0, 1e4, 2e4, 2.5e4]), bend, full_e)
    assert_allclose(seen, [0, 1e4 + 500, 2e4, 2.5e4], rtol=1e-12)
    rise = np.diff(bent(np.array([-1.0, 0.0, 1.0, 2e4 - 1, 2e4]), bend, full_e))
    assert_allclose(rise[[0, 1, 3]], [1.1, 1.1, 0.9], rtol=1e-4)


@pytest.mark.parametrize("bend", [1e-6, 0.07, 0.4])
def test_straightened_undoes_it(bend: float) -> None:
    """There and back is the charge again, below 0 and above the limit too."""
    charge_e = np.linspace(-50, 2.5e4, 999)
    there = bent(charge_e, bend, 2e4)
    assert np.all(np.diff(there) > 0)
    assert_allclose(straightened(there, bend, 2e4), charge_e, rtol=1e-12, atol=1e-9)


@pytest.mark.parametrize("way", sorted(WAYS))
@pytest.mark.parametrize("level", [1.0, 0.5])
def test_the_image_has_the_level_that_is_told(way: str, level: float) -> None:
    """dn_white and dn_product are the mean of the image, which knows it to σ/√n: 5 of these."""
    setup = changed(BASE, {**BENT, **WAYS[way]})
    target = ArrayReference(data=np.full((30, 30), level, dtype=np.float32), pixel_size_um=250.0)
    image = render(setup, target, 2000, 2, workers=1).image
    groups, numbers = budget(setup).groups["signal"], station(setup)
    # a product of 0.4 is half of the white of 0.8
    told_dn = groups["dn_white"] if level == 1 else groups["dn_product"]
    noise_dn = float(numbers.dn_per_e * numbers.noise_e(level * numbers.electrons_white))
    # the noise of the reference is that of a million lines; halves of joined numbers round up
    error_dn = 5 * 1.2 * noise_dn / np.sqrt(image.size) + (0.13 if "average" in way else 0.0)
    assert image.mean() == pytest.approx(told_dn, abs=error_dn)
    straight_dn = budget(changed(BASE, WAYS[way])).groups["signal"]
    if (way, level) != ("flat field", 1.0):
        straight = straight_dn["dn_white"] if level == 1 else straight_dn["dn_product"]
        assert abs(told_dn - straight) > 3 * error_dn


def test_a_flat_field_is_straight_between_dark_and_white_alone() -> None:
    """White has its level without the fault, half of it lies above the line: by B/4 at most."""
    corrected = {**WAYS["flat field"], "camera.dark_current": "0 e/s"}
    one, other = (station(changed(BASE, {**corrected, **each})) for each in ({}, BENT))
    white_e = float(one.electrons_white)
    assert shown_e(other, white_e) == pytest.approx(white_e, rel=1e-12)
    above = float(shown_e(other, white_e / 2)) / (white_e / 2) - 1
    assert 0 < above < bend_of(0.03) / 2


def test_signal_and_noise_in_electrons_stay_and_numbers_lead_back() -> None:
    """Both take the slope alike, so that SNR and detection are those of the straight response."""
    one, other = (budget(changed(BASE, each)).groups for each in ({}, BENT))
    for name in ("electrons_white", "noise_white_e", "snr_white", "snr_product"):
        assert other["signal"][name] == one["signal"][name]
    assert other["resolution"] == one["resolution"]
    for way in WAYS.values():
        numbers = station(changed(BASE, {**BENT, **way}))
        charge_e = np.linspace(0, 0.9, 7) * float(numbers.saturation_e)
        assert_allclose(meant_e(numbers, shown_e(numbers, charge_e)), charge_e, atol=1e-8)


def test_none_is_no_change() -> None:
    """Without an error the numbers are the same, every one."""
    target = ArrayReference(data=np.ones((30, 30), dtype=np.float32), pixel_size_um=250.0)
    images = [
        render(changed(BASE, each), target, 70, 2, workers=1).image
        for each in ({}, {"camera.linearity_error": 0.0})
    ]
    assert_array_equal(images[0], images[1])
